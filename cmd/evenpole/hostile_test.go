//go:build linux

package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"unicode/utf16"
)

// The largest memory that a command may have taken when it ends, resident, and the size
// of the files that it must not hold whole.
const (
	mostMemory = 128 << 20
	largeFile  = 64 << 20
)

// Files that nobody meant are read, or refused with their name and a place in them, and
// either in little memory, by whatever reads them. Each stands for one of a shop's files.
func TestHostileFiles(t *testing.T) {
	dir := t.TempDir()
	texts := hostileTexts(t, dir)
	for _, c := range []struct {
		file    string // in the shop
		command []string
		csv     string // a header, where the file has one
		row     string // a row
		rows    int    // the most that are read
	}{
		{"readings.csv", []string{"record", "verify"}, "string,core_mm,pole_height_mm,string_height_mm,rms_mv", "1,.25,0,3,1", 1_000_000},
		{"readings.csv", []string{"record", "retract", "--session", "s001"}, "", "", 0},
		{"readings.csv", []string{"fit", "--out", "model.json"}, "", "", 0},
		{"readings.cells", []string{"fit", "--out", "model.json"}, "", "", 0},
		{"fields.csv", []string{"batch"}, "", "", 0},
		{"fields.csv", []string{"record", "verify"}, "batch,magnet,field_mt,probe_gap_mm", "b,m,1,1", 1_000_000},
		{"sessions.csv", []string{"record", "amend", "--session", "s001", "--mount", "mount.toml"},
			"time,session,purpose,kind,jig,boot,after_seq,pickup,mount", ",s001,model,readings,j,0000000A,1,P,m", 100_000},
		{"readings.seals.csv", []string{"record", "retract", "--session", "s001"}, "row,digest,chain,remark", "1,1f0323643b28a9d9,47df5cca80e19cb3,", 1_000_000},
		{"operators.csv", []string{"repeat"}, "session,operator", "s001,A", 1_000_000},
		{"models/history.csv", []string{"model", "list"}, "time,model,before,why", ",model-001.json,,x", 1_000_000},
		{"models/model-001.json", []string{"plan", "--order", "order.toml"}, "", "", 0},
		{"models/current.txt", []string{"plan", "--order", "order.toml"}, "", "", 0},
		{"order.toml", []string{"plan", "--order", "order.toml"}, "", "", 0},
		{"mount.toml", []string{"record", "amend", "--session", "s001", "--mount", "mount.toml"}, "", "", 0},
		{"strings.toml", []string{"plan", "--order", "order.toml"}, "", "", 0},
		{"batches.toml", []string{"batch"}, "", "", 0},
		{"shop.toml", []string{"batch"}, "", "", 0},
		{"shared/share.toml", []string{"share", "verify"}, "", "", 0},
	} {
		t.Run(strings.ReplaceAll(c.file, "/", "-"), func(t *testing.T) {
			own := texts
			if c.csv != "" {
				own = append(slices.Clip(texts), hostileRows(t, dir, c.csv, c.row, c.rows)...)
			}
			for _, text := range own {
				ends(t, text, c.file, c.command)
			}
		})
	}
}

// hostile is a text that nobody meant, as a file.
type hostile struct{ what, path string }

// write makes such a file.
func (h hostile) write(t *testing.T, write func(w io.Writer) error) hostile {
	t.Helper()
	f, err := os.Create(h.path)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(write(f), f.Close()); err != nil {
		t.Fatal(err)
	}
	return h
}

// again writes a text so often.
func again(text string, n int) func(w io.Writer) error {
	return func(w io.Writer) error {
		some := 1 + (1<<16)/len(text)
		chunk := []byte(strings.Repeat(text, some))
		for ; n > 0; n -= some {
			if _, err := w.Write(chunk[:min(n, some)*len(text)]); err != nil {
				return err
			}
		}
		return nil
	}
}

// after writes a text, and then more.
func after(head string, write func(w io.Writer) error) func(w io.Writer) error {
	return func(w io.Writer) error {
		_, err := io.WriteString(w, head)
		return errors.Join(err, write(w))
	}
}

// hostileTexts are those that suit any file.
func hostileTexts(t *testing.T, dir string) (all []hostile) {
	for what, write := range map[string]func(w io.Writer) error{
		"one long line":      again("x", largeFile),
		"NUL bytes":          func(w io.Writer) error { return w.(*os.File).Truncate(largeFile) },
		"commas":             again(",", largeFile),
		"an open quote":      after("\"", again("a\n", largeFile/2)),
		"an open text":       after("id = \"\"\"\n", again("a\n", 500_000)),
		"many keys":          again("k = 1\n", 200_000),
		"deep tables":        after("["+strings.Repeat("a.", 900)+"a]\n", again("["+strings.Repeat("a.", 900)+"a]\n", 200)),
		"deep lists":         after("id = ", again("[", 100_000)),
		"deep objects":       again(`{"model":`, 100_000),
		"a huge number":      after("{\"version\": 1", again("0", 1_000_000)),
		"a huge exponent":    again("tolerance_db = 1e999999999\n", 1),
		"UTF-16":             func(w io.Writer) error { return writeUTF16(w, "id = \"A\"\nstring,core_mm\n1,2\n") },
		"a mark and no text": again("\xef\xbb\xbf", 1),
		"nothing":            again("x", 0),
		"no UTF-8":           again("\xff\xfe\xfd = \"\x80\"\n", 100),
	} {
		h := hostile{what, filepath.Join(dir, strings.ReplaceAll(what, " ", "-"))}
		all = append(all, h.write(t, write))
	}
	return all
}

func writeUTF16(w io.Writer, text string) error {
	var b bytes.Buffer
	for _, u := range append([]uint16{0xfeff}, utf16.Encode([]rune(text))...) {
		b.Write([]byte{byte(u), byte(u >> 8)})
	}
	_, err := w.Write(b.Bytes())
	return err
}

// hostileRows are those that suit a file of rows with this header.
func hostileRows(t *testing.T, dir, header, row string, most int) (all []hostile) {
	for what, write := range map[string]func(w io.Writer) error{
		"very many rows":             after(header+"\n", again(row+"\n", most)),
		"headers without end":        again(header+"\n", 100_000),
		"empty rows":                 after(header+"\n", again(strings.Repeat(",", strings.Count(header, ","))+"\n", 100_000)),
		"a column that stands twice": again(header+","+header+"\n"+row+","+row+"\n", 1),
		"a quote that never closes":  after(header+"\n"+row+"\n\"", again(row+"\n", 100_000)),
		"a long cell":                after(header+"\n", again("1", 1_000_000)),
		"a huge number":              after(header+"\n"+strings.ReplaceAll(row, "1", strings.Repeat("9", 400)), again("\n", 1)),
	} {
		h := hostile{what, filepath.Join(dir, strings.ReplaceAll("rows "+what, " ", "-"))}
		all = append(all, h.write(t, write))
	}
	return all
}

// hostileShop is a shop with readings, an order and a mount in which nothing is wrong.
func hostileShop(t *testing.T) (shop string) {
	t.Helper()
	shop = t.TempDir()
	readings := "time,session,purpose,jig,boot,seq,pickup,batch,string,string_set,core_mm,gauge_mm,wrap,pole_height_mm,string_height_mm," +
		"mode,take,rms_mv,peak_mv,freq_hz,window_ms,quiet_mv,excite,status,note\n"
	for i := range 6 {
		readings += fmt.Sprintf(",s001,model,j,0000000A,%d,P,M,%d,,.25,.25,plain,0,3,P,1,10,,,,,travel,ok,\n", i+1, i+1)
	}
	for name, text := range map[string]string{
		"readings.csv": readings, "order.toml": sixStringOrder, "mount.toml": captureMount, "models/current.txt": "model-001.json\n",
	} {
		path := filepath.Join(shop, name)
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, []byte(text), 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	return shop
}

// lacks are refusals of what was asked, of a shop that could be read.
var lacks = regexp.MustCompile(`session "s001" |expected two sessions|no field reading|not a shop|model-001.json|no cells|no reading|no such file`)

// ends fails unless a command ends well, or refuses a file with its name and a place, and
// takes little memory either way.
func ends(t *testing.T, h hostile, file string, words []string) {
	t.Helper()
	shop := hostileShop(t)
	defer os.RemoveAll(shop)
	path := filepath.Join(shop, file)
	if err := errors.Join(os.RemoveAll(path), os.MkdirAll(filepath.Dir(path), 0o755)); err != nil {
		t.Fatal(err)
	}
	if err := exec.Command("cp", "--sparse=always", h.path, path).Run(); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("evenpole", words...)
	cmd.Dir = shop
	cmd.Env = append(os.Environ(), "GOMEMLIMIT=100MiB") // on a busy machine garbage lies longer: what is held counts
	var said head
	cmd.Stdout, cmd.Stderr = &said, &said
	err := cmd.Run()
	place := regexp.MustCompile(regexp.QuoteMeta(filepath.Base(file)) + `:([0-9]+)?`)
	switch status := cmd.ProcessState.ExitCode(); {
	case status < 0 || status > 4 || strings.Contains(said.text, "goroutine "):
		t.Errorf("%s: %v: %v: %s", h.what, words, err, said.text)
	case status > 0 && !place.MatchString(said.text) && !lacks.MatchString(said.text):
		t.Errorf("%s: %v: status %d without file and place: %s", h.what, words, status, said.text)
	}
	if most := cmd.ProcessState.SysUsage().(*syscall.Rusage).Maxrss << 10; most > mostMemory {
		t.Errorf("%s: %v: took %d MB", h.what, words, most>>20)
	}
}

// head keeps the first of what is written: the memory of this process would count as that
// of those that it starts.
type head struct{ text string }

func (h *head) Write(p []byte) (int, error) {
	h.text += string(p[:min(len(p), max(0, 2000-len(h.text)))])
	return len(p), nil
}
