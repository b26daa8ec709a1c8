package firmwarenotes

import (
	"bufio"
	"fmt"
	"hash/crc32"
	"io"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
)

// pretend is the C reference as a running jig.
type pretend struct {
	t    *testing.T
	in   io.WriteCloser
	out  *bufio.Scanner
	boot string
}

// port starts the C reference and returns its input and output, which end with
// the test.
func port(t *testing.T) (in io.WriteCloser, out io.Reader) {
	t.Helper()
	if runtime.GOOS == "windows" {
		t.Skip("pretend.c is for POSIX")
	}
	cmd := exec.Command(compile(t, filepath.Join("c", "jig.c"), filepath.Join("c", "pretend.c")))
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err = cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		in.Close()
		io.Copy(io.Discard, out)
		if err := cmd.Wait(); err != nil {
			t.Errorf("the C reference ended with %v", err)
		}
	})
	return in, out
}

func newPretend(t *testing.T) *pretend {
	in, out := port(t)
	p := &pretend{t: t, in: in, out: bufio.NewScanner(out)}
	hello := p.hear()
	fields := strings.Split(hello, ",")
	if len(fields) != 8 || fields[0] != "I" {
		t.Fatalf("%q at power-up, want an I line", hello)
	}
	p.boot = fields[3]
	return p
}

// hear returns the next body that is not of an S line.
func (p *pretend) hear() string {
	p.t.Helper()
	for p.out.Scan() {
		body, sum, _ := strings.Cut(p.out.Text(), "*")
		if want := fmt.Sprintf("%08X", crc32.ChecksumIEEE([]byte(body))); sum != want {
			p.t.Errorf("%q ends in %q, want %s", body, sum, want)
		}
		if !strings.HasPrefix(body, "S,") {
			return body
		}
	}
	p.t.Fatal("the C reference is gone")
	return ""
}

// ask sends lines and returns what comes up to an answer to id.
func (p *pretend) ask(id int, lines string) (bodies []string) {
	p.t.Helper()
	if _, err := io.WriteString(p.in, lines); err != nil {
		p.t.Fatal(err)
	}
	for {
		body := p.hear()
		bodies = append(bodies, body)
		if body == fmt.Sprintf("A,%d", id) || strings.HasPrefix(body, fmt.Sprintf("E,%d,", id)) {
			return bodies
		}
	}
}

// line frames bodies.
func line(bodies ...string) string {
	var all strings.Builder
	for _, body := range bodies {
		fmt.Fprintf(&all, "%s*%08X\n", body, crc32.ChecksumIEEE([]byte(body)))
	}
	return all.String()
}

func TestReferenceAnswers(t *testing.T) {
	p := newPretend(t)
	hello := "I,1,pretend," + p.boot + ",c-1,6,2000000,travel"
	rubbish := "rubbish\n\n" + strings.Repeat("x", 500) + "\nC,11,IDENT*00000000\n"
	for _, test := range []struct {
		say  string
		want []string
	}{
		{line("C,1,IDENT"), []string{hello, "A,1"}},
		{line("C,2,BOIL"), []string{"E,2,1,unknown command"}},
		{line("C,3,PLUCK,7,1"), []string{"E,3,2,bad argument"}},
		{line("C,4,PLUCK,1,0"), []string{"E,4,2,bad argument"}},
		{line("C,5,PLUCK,1"), []string{"E,5,2,bad argument"}},
		{line("C,6,QUIET,1,4294967296"), []string{"E,6,2,bad argument"}},
		{line("C,7,RESEND," + p.boot + ",2,1"), []string{"E,7,2,bad argument"}},
		{line("C,8,RESEND,12345,1,1"), []string{"E,8,2,bad argument"}},
		{line("C,9,DRIVE,1,440000,1"), []string{"E,9,3,not available"}},
		{line("C,10,RESEND," + p.boot + ",1,1"), []string{"E,10,3,1 is gone"}},
		{rubbish + line("C,x,IDENT", "C,4294967296,IDENT", "Q,11,IDENT", "C,11,STOP"), []string{"A,11"}},
		{strings.ReplaceAll(line("C,12,IDENT"), "\n", "\r\n"), []string{hello, "A,12"}},
	} {
		id := 0
		fmt.Sscanf(test.want[len(test.want)-1][2:], "%d", &id)
		if got := p.ask(id, test.say); !slices.Equal(got, test.want) {
			t.Errorf("to %q: %q, want %q", test.say, got, test.want)
		}
	}
}

func TestReferenceRemembersAnswers(t *testing.T) {
	p := newPretend(t)
	if got := p.ask(1, line("C,1,PLUCK,1,2")); len(got) != 3 {
		t.Fatalf("%q, want two readings and A", got)
	}
	if got := p.ask(1, line("C,1,PLUCK,1,2")); len(got) != 1 {
		t.Errorf("%q, want the old answer alone", got)
	}
	p.ask(2, line("C,2,IDENT"))
	if got := p.ask(1, line("C,1,PLUCK,1,2")); len(got) != 3 || !strings.HasPrefix(got[0], "R,"+p.boot+",3,") {
		t.Errorf("%q, want the command done afresh", got)
	}
}

func TestReferenceSendsAgain(t *testing.T) {
	p := newPretend(t)
	made := p.ask(1, line("C,1,PLUCK,2,299"))
	made = append(made[:299], p.ask(2, line("C,2,FIELD,3,1"))[0])
	for _, test := range []struct {
		id       int
		boot     string
		from, to int
		gone     int // 0: nothing
	}{
		{3, p.boot, 299, 300, 0},
		{4, p.boot, 45, 300, 0},
		{5, p.boot, 40, 50, 40},
		{6, p.boot, 300, 301, 301},
		{7, p.boot, 1, 44, 1},
		{8, p.boot, 1, 1 << 30, 1},
		{9, "FFFFFFFF", 299, 300, 299},
	} {
		want := []string{fmt.Sprintf("A,%d", test.id)}
		if test.gone > 0 {
			want[0] = fmt.Sprintf("E,%d,3,%d is gone", test.id, test.gone)
		}
		if from, to := max(test.from, 45), min(test.to, 300); from <= to && test.boot == p.boot {
			want = append(slices.Clone(made[from-1:to]), want...)
		}
		got := p.ask(test.id, line(fmt.Sprintf("C,%d,RESEND,%s,%d,%d", test.id, test.boot, test.from, test.to)))
		if !slices.Equal(got, want) {
			t.Errorf("%d to %d of %s: %d lines ending in %q, want %d ending in %q",
				test.from, test.to, test.boot, len(got), got[len(got)-1], len(want), want[len(want)-1])
		}
	}
}

func TestReferenceStops(t *testing.T) {
	p := newPretend(t)
	got := p.ask(7, line("C,1,QUIET,1,1000", "C,2,QUIET,1,1", "C,3,IDENT", "C,4,QUIET,1,1", "C,5,QUIET,1,1", "C,6,QUIET,1,1", "C,7,STOP"))
	got = slices.DeleteFunc(got, func(body string) bool { return strings.HasPrefix(body, "R,") })
	want := []string{"E,6,6,busy", "E,1,5,stopped", "E,2,5,stopped", "E,3,5,stopped", "E,4,5,stopped", "E,5,5,stopped", "A,7"}
	if !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	if got := p.ask(6, line("C,6,QUIET,1,1")); len(got) != 2 || got[1] != "A,6" {
		t.Errorf("%q, want a reading and A: a refusal is not remembered", got)
	}
}

// TestReferenceHasRoomForIdent: a full queue refuses commands, and not IDENT.
func TestReferenceHasRoomForIdent(t *testing.T) {
	p := newPretend(t)
	got := p.ask(8, line("C,1,QUIET,1,1000", "C,2,QUIET,1,1", "C,3,QUIET,1,1", "C,4,QUIET,1,1", "C,5,QUIET,1,1", "C,6,IDENT", "C,7,QUIET,1,1", "C,8,STOP"))
	var ends []string
	for _, body := range got {
		if !strings.HasPrefix(body, "R,") {
			ends = append(ends, body)
		}
	}
	want := []string{"E,7,6,busy", "E,1,5,stopped", "E,2,5,stopped", "E,3,5,stopped", "E,4,5,stopped", "E,5,5,stopped", "E,6,5,stopped", "A,8"}
	if !slices.Equal(ends, want) {
		t.Errorf("%q, want %q", ends, want)
	}
}
