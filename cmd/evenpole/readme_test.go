package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"
)

// elsewhere are commands that README.md shows in other shops than the demo's, or with jigs, recordings and
// databases that are somebody's own: what they print is not compared.
var elsewhere = []string{
	"evenpole jig sim --mount T-9.toml", "evenpole capture --shop shop", "evenpole record verify", "evenpole record amend", "PGHOST=",
	"evenpole repeat --pickup Q", "evenpole jig verify", "evenpole repeat --shared",
}

// TestReadmeShowsWhatIsPrinted runs the commands that README.md shows in the demo's shop, and that of a
// batch in the sample shop, one after the other, and looks for each line that it shows of what they print, each after the one before it.
func TestReadmeShowsWhatIsPrinted(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the demo")
	}
	if runtime.GOARCH != "amd64" {
		t.Skip("last digits differ between kinds of processor")
	}
	text := textOf(t, "README.md")
	sample, dir := t.TempDir(), filepath.Join(t.TempDir(), "shop")
	if err := os.CopyFS(sample, os.DirFS(filepath.Join("..", "..", "testdata", "sample-shop"))); err != nil {
		t.Fatal(err)
	}
	r := &readme{port: "/dev/pts/0", stick: t.TempDir(), sample: sample}
	r.run(t, []string{"demo", "--dir", dir})
	t.Chdir(dir)
	var share, rest []showing
	for _, s := range shown(text) {
		switch {
		case s.command == "evenpole demo":
			r.look(t, s)
		case strings.Contains(s.command, "--folder"):
			share = append(share, s)
		case len(s.lines) > 0 && !strings.HasPrefix(s.command, "evenpole share"), strings.Contains(s.command, " --mount jig/"):
			rest = append(rest, s)
		}
	}
	for _, s := range share { // of the shop as the demo leaves it
		r.compare(t, s)
	}
	r.mounts(t)
	for _, s := range rest {
		r.compare(t, s)
	}
	if r.compared < 60 {
		t.Errorf("compared only %d lines", r.compared)
	}
}

// showing is a command as README.md shows it, with lines of what it prints.
type showing struct {
	command string
	lines   []string
}

// shown are all commands that a page shows with a prompt before them.
func shown(page string) []showing {
	var out []showing
	within := false
	for _, line := range strings.Split(page, "\n") {
		text, code := strings.CutPrefix(line, "    ")
		command, prompt := strings.CutPrefix(text, "$ ")
		switch {
		case !code:
			within = within && line == ""
		case prompt:
			out, within = append(out, showing{command: command}), true
		case within:
			last := &out[len(out)-1]
			last.lines = append(last.lines, text)
		}
	}
	return out
}

// readme is a reader of README.md who tries what it shows.
type readme struct {
	port     string // of the jig that runs
	stick    string // the folder that benches share by
	sample   string // a shop with loose magnets
	printed  string
	compared int
}

// mounts writes the mount files that README.md has its reader write in the demo's shop.
func (r *readme) mounts(t *testing.T) {
	t.Helper()
	mount, err := os.ReadFile("jig/L-012-a.toml")
	if err != nil {
		t.Fatal(err)
	}
	write(t, "jig/L-012-b.toml", strings.Replace(string(mount), `"L-012-a"`, `"L-012-b"`, 1))
	write(t, "jig/L-012-c.toml", strings.Replace(string(mount), `"L-012-a"`, "\"L-012-c\"\nprobe_gap_mm = 0.5", 1))
}

// compare runs a command, and looks for what is shown of it.
func (r *readme) compare(t *testing.T, s showing) {
	t.Helper()
	for _, start := range elsewhere {
		if strings.HasPrefix(s.command, start) {
			return
		}
	}
	args := words(s.command)[1:]
	switch {
	case args[0] == "jig" && args[1] == "sim":
		r.port = startJig(t, args[3], args[4:]...)
		return
	case args[0] == "batch":
		args = append(args, "--shop", r.sample)
	case strings.Contains(s.command, "--pickup L-012-b"):
		r.run(t, []string{"capture", "--port", startJig(t, "jig/L-012-b.toml", "--pole", "4=-0.7"), "--mount", "jig/L-012-b.toml", "--purpose", "check", "--takes", "6"})
	}
	for i, a := range args {
		args[i] = r.here(a)
	}
	r.run(t, args)
	r.look(t, s)
}

// look looks for the lines that are shown in what was printed last.
func (r *readme) look(t *testing.T, s showing) {
	t.Helper()
	at, lacks := 0, false
	for _, want := range s.lines {
		if strings.TrimSpace(want) == "..." || want == "" {
			continue
		}
		r.compared++
		place := lineLike(r.here(want)).FindStringIndex(r.printed[at:])
		if lacks = lacks || place == nil; place == nil {
			t.Errorf("%s: not printed, or not in this order: %q", s.command, want)
			continue
		}
		at += place[1] - 1
	}
	if lacks {
		t.Logf("%s prints:\n%s", s.command, r.printed)
	}
}

// here names the port and the folder of the reader in place of those of README.md.
func (r *readme) here(text string) string {
	return strings.NewReplacer("/dev/pts/0", r.port, "/media/stick/evenpole", r.stick).Replace(text)
}

// fingerprint is of data: it has times in it.
var fingerprint = regexp.MustCompile(`of data [0-9a-f]{12}`)

// lineLike matches a line that is shown: " ..." in it stands for anything.
func lineLike(shown string) *regexp.Regexp {
	parts := strings.Split(fingerprint.ReplaceAllString(shown, "of data  ..."), " ...")
	for i := range parts {
		parts[i] = regexp.QuoteMeta(parts[i])
	}
	return regexp.MustCompile(`\n` + strings.Join(parts, ".*") + `\n`)
}

// run runs a command and keeps what it prints.
func (r *readme) run(t *testing.T, args []string) {
	t.Helper()
	var out bytes.Buffer
	if status := run(t.Context(), args, strings.NewReader(""), &out, &out); status == exitFailed || status == exitInput {
		t.Errorf("evenpole %s: exit status %d", strings.Join(args, " "), status)
	}
	r.printed = "\n" + out.String()
}
