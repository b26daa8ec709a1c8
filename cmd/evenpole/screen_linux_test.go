package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"evenpole/cmd/evenpole/terminal"
	"evenpole/fit/level"
	"evenpole/jig/jigtest"

	"github.com/creack/pty"
)

// glass is what stands on a terminal: enough of one for a capture's screen.
type glass struct {
	rows  []string
	row   int
	past  []string // what stood there whenever a redraw began
	bells int
}

var control = regexp.MustCompile(`^\x1b\[(\??[0-9]*)([A-Za-z])`)

// put puts what a program wrote on the glass.
func (g *glass) put(t *testing.T, text string) {
	col := 0
	for len(text) > 0 {
		for g.row >= len(g.rows) {
			g.rows = append(g.rows, "")
		}
		if m := control.FindStringSubmatch(text); m != nil {
			text = text[len(m[0]):]
			switch m[2] {
			case "A":
				n := 0
				fmt.Sscan(m[1], &n)
				g.past = append(g.past, strings.Join(g.rows, "\n"))
				g.row -= n
				if g.row < 0 {
					t.Fatal("the cursor left the top")
				}
			case "J":
				g.rows = append(g.rows[:g.row], g.rows[g.row][:col])
			case "m", "h", "l":
			default:
				t.Fatalf("control sequence %q", m[0])
			}
			continue
		}
		switch c := text[0]; c {
		case '\r':
			col = 0
		case '\n':
			g.row++
		case '\a':
			g.bells++
		default:
			g.rows[g.row] = g.rows[g.row][:col] + string(c) + g.rows[g.row][min(col+1, len(g.rows[g.row])):]
			col++
		}
		text = text[1:]
	}
}

// inTerminal runs a command with a terminal for its output, and returns what stood there.
func inTerminal(t *testing.T, args []string, errs io.Writer, want int) *glass {
	t.Helper()
	t.Setenv("TERM", "xterm")
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	read := make(chan string)
	go func() {
		var all bytes.Buffer
		io.Copy(&all, master) // ends with an error when the other side is closed
		read <- all.String()
	}()
	if errs == nil {
		errs = slave
	}
	got := run(t.Context(), args, strings.NewReader(""), slave, errs)
	slave.Close()
	g := &glass{}
	g.put(t, <-read)
	master.Close()
	if got != want {
		t.Fatalf("exit status %d, want %d:\n%s", got, want, strings.Join(g.rows, "\n"))
	}
	return g
}

// captureArgs are a capture of three takes a string from a jig whose string 2 is clipped
// once.
func captureArgs(t *testing.T, more ...string) []string {
	t.Helper()
	bench := jigtest.New(jigtest.Config{Flags: map[jigtest.Shot]int{{String: 2, Mode: "P", Nth: 2}: jigtest.Clipped}})
	port, unplug := plug(t, bench)
	t.Cleanup(unplug)
	dir := t.TempDir()
	mount := filepath.Join(dir, "mount.toml")
	if err := os.WriteFile(mount, []byte(captureMount), 0o666); err != nil {
		t.Fatal(err)
	}
	return append([]string{"capture", "--shop", filepath.Join(dir, "shop"), "--port", port, "--mount", mount, "--purpose", "model", "--takes", "3"}, more...)
}

// In a terminal a capture redraws one screen, and leaves the result.
func TestCaptureRedrawsOneScreen(t *testing.T) {
	g := inTerminal(t, captureArgs(t, "--bell"), nil, exitDone)
	final := strings.Join(g.rows, "\n")
	for _, text := range []string{"on /dev/pts/", "session s001 complete", "scatter dB"} {
		if !strings.Contains(final, text) {
			t.Errorf("no %q at the end:\n%s", text, final)
		}
	}
	for _, text := range []string{"last take", "takes left", "kept "} {
		if strings.Contains(final, text) {
			t.Errorf("%q is left at the end:\n%s", text, final)
		}
	}
	for _, stood := range g.past {
		if n := strings.Count(stood, "last take: "); n > 1 {
			t.Fatalf("%d screens at a time:\n%s", n, stood)
		}
	}
	for _, text := range []string{
		"pickup P-9, for model, session s001, jig ", "Quiet 1  hands off", "String 3  G3, take 2 of 3", "last take: string 2: ", "refused: clipped", "|#", "takes left, about ",
	} {
		if !slices.ContainsFunc(g.past, func(stood string) bool { return strings.Contains(stood, text) }) {
			t.Errorf("%q was never shown; at last:\n%s", text, g.past[len(g.past)-1])
		}
	}
	if g.bells != 1+2 {
		t.Errorf("the bell rang %d times", g.bells)
	}
}

// What is told of the line stays above the screen.
func TestWhatIsToldStaysAboveTheScreen(t *testing.T) {
	var out bytes.Buffer
	s := terminal.New(&out, &out)
	g := &glass{}
	fmt.Fprintln(s, "before")
	s.Draw([]string{"one", "two"})
	fmt.Fprintln(s, "line: bad")
	s.Draw([]string{"one", "two", "three"})
	fmt.Fprint(s, "sure? ")
	fmt.Fprintln(&out, "y") // what the terminal echoes
	s.Draw([]string{"four"})
	g.put(t, strings.ReplaceAll(out.String(), "\n", "\r\n"))
	if got, want := strings.Join(g.rows, "|"), "before|line: bad|sure? y|four|"; strings.TrimSuffix(got, "|") != strings.TrimSuffix(want, "|") {
		t.Errorf("got %q, want %q", got, want)
	}
	s.Close()
	fmt.Fprintln(s, "after")
	g = &glass{}
	g.put(t, strings.ReplaceAll(out.String(), "\n", "\r\n"))
	if got := strings.TrimSuffix(strings.Join(g.rows, "|"), "|"); got != "before|line: bad|sure? y|after" {
		t.Errorf("got %q", got)
	}
}

// --quiet tells of no take, in a terminal or not; without a terminal each take is a line
// and nothing is redrawn.
func TestQuietAndPlainCaptures(t *testing.T) {
	for _, c := range []struct {
		more  []string
		lines int
	}{{nil, 6*(3+3) + 1}, {[]string{"--quiet", "--bell"}, 0}} {
		var out, errs bytes.Buffer
		if got := run(t.Context(), captureArgs(t, c.more...), strings.NewReader(""), &out, &errs); got != exitDone {
			t.Fatalf("exit status %d: %s", got, &errs)
		}
		if n := strings.Count(errs.String(), "kept "); n != c.lines || strings.ContainsAny(errs.String()+out.String(), "\x1b\a") {
			t.Errorf("%q: %d lines of takes:\n%s%s", c.more, n, &out, &errs)
		}
		if !strings.Contains(out.String(), "scatter dB") || !regexp.MustCompile(`(?m)^ +6 +E2 +3 +[0-9]`).MatchString(out.String()) {
			t.Errorf("no table of strings at the end:\n%s", &out)
		}
	}
	var errs bytes.Buffer
	if g := inTerminal(t, captureArgs(t, "--quiet"), &errs, exitDone); len(g.past) > 0 || strings.Contains(errs.String(), "kept ") {
		t.Errorf("drawn %d times: %s", len(g.past), &errs)
	}
}

func TestBars(t *testing.T) {
	for _, c := range []struct {
		balance float64
		want    string
	}{
		{0, "............|............"}, {0.5, "............|#..........."}, {-3, "......######|............"},
		{6, "............|############"}, {7, "............|###########>"}, {-60, "<###########|............"},
	} {
		if got := barOf(level.Figure(c.balance)); got != c.want {
			t.Errorf("%g dB: %s, want %s", c.balance, got, c.want)
		}
	}
	if len(barScale()) != len(barOf(0)) {
		t.Errorf("the head %q is not as wide as its bars", barScale())
	}
}
