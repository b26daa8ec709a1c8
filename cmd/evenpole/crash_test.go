//go:build linux || darwin

package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"evenpole/capture"
	"evenpole/jig/jigtest"
)

// captured is the program as a process of its own, at a capture.
type captured struct {
	*exec.Cmd
	lines *bufio.Scanner // of its standard error
	said  []string
}

// startCapture starts a capture of the jig on a port; a word before the program
// runs it, as a shell would. The mount is the one that is always used here.
func startCapture(t *testing.T, dir, port string, before ...string) *captured {
	t.Helper()
	mount := filepath.Join(dir, "mount.toml")
	if err := os.WriteFile(mount, []byte(captureMount), 0o666); err != nil {
		t.Fatal(err)
	}
	words := append(before, "evenpole", "capture", "--shop", filepath.Join(dir, "shop"),
		"--port", port, "--mount", mount, "--purpose", "model", "--takes", "3")
	c := &captured{Cmd: exec.Command(words[0], words[1:]...)}
	stderr, err := c.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	c.lines = bufio.NewScanner(stderr)
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	return c
}

// until reads what the program says until n lines of it begin so, or its end.
func (c *captured) until(n int, start string) {
	for n > 0 && c.lines.Scan() {
		c.said = append(c.said, c.lines.Text())
		if strings.HasPrefix(c.lines.Text(), start) {
			n--
		}
	}
}

// end waits for the program to end and returns its exit status and its error.
func (c *captured) end() (status int, complaint string) {
	c.until(1<<30, "")
	c.Wait()
	for _, line := range c.said {
		if strings.HasPrefix(line, "evenpole: ") {
			complaint = line
		}
	}
	return c.ProcessState.ExitCode(), complaint
}

// kept counts the readings that the program called kept.
func (c *captured) kept() (n int) {
	for _, line := range c.said {
		if strings.HasPrefix(line, "kept ") {
			n++
		}
	}
	return n
}

// resume gives the command again and wants the record to be the jig's log then.
func resume(t *testing.T, dir, port string, j *jigtest.Jig) {
	t.Helper()
	c := startCapture(t, dir, port)
	if status, complaint := c.end(); status != exitDone {
		t.Fatalf("resumed: exit status %d, %s", status, complaint)
	}
	rows := map[string]int{}
	for _, r := range recorded(t, filepath.Join(dir, "shop")) {
		rows[fmt.Sprint(r.Boot, r.Seq, r.String, r.Mode, thousandths(r.RMS))]++
	}
	for _, e := range j.Log() {
		id := fmt.Sprint(e.Boot, e.Seq, e.String, e.Mode, e.RMS)
		if rows[id] != 1 {
			t.Errorf("reading %d stands %d times in the record", e.Seq, rows[id])
		}
		delete(rows, id)
	}
	if len(rows) > 0 {
		t.Errorf("never made: %v", rows)
	}
}

// The first Ctrl-C lets the take under way come to its end, and says what is
// left to do.
func TestCtrlC(t *testing.T) {
	j := jigtest.New(jigtest.Config{TakeTime: 150 * time.Millisecond})
	port, dir := jigtest.Attach(t, j), t.TempDir()
	c := startCapture(t, dir, port)
	c.until(2, "kept ") // of three that were commanded as one
	send(t, c, os.Interrupt)
	status, complaint := c.end()
	if status != exitFailed || !strings.Contains(complaint, "session s001 is not complete: stopped; string 1: 0 of 3 good takes, ") {
		t.Errorf("exit status %d: %s", status, complaint)
	}
	if n := c.kept(); n < 3 {
		t.Errorf("%d readings kept, expected the one under way too", n)
	}
	all := strings.Join(c.said, "\n")
	for _, want := range []string{"finishing this take; Ctrl-C again stops at once", "hint: what was kept stays"} {
		if !strings.Contains(all, want) {
			t.Errorf("it does not say %q:\n%s", want, all)
		}
	}
	resume(t, dir, port, j)
}

// A terminal that is closed, or a system that shuts down, is a wish to end like any other.
func TestHangup(t *testing.T) {
	for _, s := range []os.Signal{syscall.SIGHUP, syscall.SIGTERM} {
		port, dir := jigtest.Attach(t, jigtest.New(jigtest.Config{TakeTime: 100 * time.Millisecond})), t.TempDir()
		c := startCapture(t, dir, port)
		c.until(2, "kept ")
		send(t, c, s)
		if status, complaint := c.end(); status != exitFailed || !strings.Contains(complaint, "is not complete: stopped; ") {
			t.Errorf("%v: exit status %d: %s", s, status, complaint)
		}
	}
}

// The second one does not wait for a take that does not come.
func TestCtrlCTwice(t *testing.T) {
	j := jigtest.New(jigtest.Config{AtReading: map[int]jigtest.Mishap{4: {Silence: time.Second}}, TakeTime: 20 * time.Millisecond})
	port, dir := jigtest.Attach(t, j), t.TempDir()
	c := startCapture(t, dir, port)
	c.until(4, "kept ")
	send(t, c, os.Interrupt)
	c.until(1, "finishing ")
	send(t, c, os.Interrupt)
	status, complaint := c.end()
	if status != exitFailed || !strings.Contains(complaint, "stopped; ") || c.kept() != 4 {
		t.Errorf("exit status %d after %d kept: %s", status, c.kept(), complaint)
	}
	resume(t, dir, port, j)
}

func send(t *testing.T, c *captured, s os.Signal) {
	t.Helper()
	if err := c.Process.Signal(s); err != nil {
		t.Fatal(err)
	}
}

// A laptop whose lid is closed: the process stands still while the jig goes on,
// and what the port could not hold meanwhile is asked for again.
func TestStopped(t *testing.T) {
	j := jigtest.New(jigtest.Config{})
	port, dir := jigtest.Attach(t, j), t.TempDir()
	c := startCapture(t, dir, port)
	c.until(3, "kept ")
	send(t, c, syscall.SIGSTOP)
	made := len(j.Log())
	for wait := 0; wait < 20 && len(j.Log()) == made; wait++ { // it makes what it was told to
		time.Sleep(10 * time.Millisecond)
	}
	send(t, c, syscall.SIGCONT)
	if status, complaint := c.end(); status != exitDone {
		t.Errorf("exit status %d: %s", status, complaint)
	}
	resume(t, dir, port, j)
}

// A disk, or a quota, that takes no more: an error that names the file, and
// what was called kept is there.
func TestDiskFull(t *testing.T) {
	if _, err := exec.LookPath("sh"); err != nil {
		t.Skip(err)
	}
	j := jigtest.New(jigtest.Config{})
	port, dir := jigtest.Attach(t, j), t.TempDir()
	c := startCapture(t, dir, port, "sh", "-c", `ulimit -f 3 && exec "$0" "$@"`) // 1.5 or 3 kB, as the shell counts
	status, complaint := c.end()
	if status != exitFailed || !strings.Contains(complaint, filepath.Join("shop", "readings.csv")+": ") {
		t.Errorf("exit status %d: %s", status, complaint)
	}
	if n := c.kept(); n == 0 {
		t.Error("nothing was kept before the disk was full")
	}
	resume(t, dir, port, j)
}

func TestReadOnlyShop(t *testing.T) {
	if os.Geteuid() == 0 {
		t.Skip("root may write anywhere")
	}
	j := jigtest.New(jigtest.Config{})
	port, dir := jigtest.Attach(t, j), t.TempDir()
	shop := filepath.Join(dir, "shop")
	if err := os.Mkdir(shop, 0o555); err != nil {
		t.Fatal(err)
	}
	c := startCapture(t, dir, port)
	status, complaint := c.end()
	if status != exitFailed || !strings.Contains(complaint, shop) || !strings.Contains(complaint, "permission denied") || strings.Contains(complaint, "make room") {
		t.Errorf("exit status %d: %s", status, complaint)
	}
	if err := os.Chmod(shop, 0o755); err != nil {
		t.Fatal(err)
	}
	resume(t, dir, port, j)
}

// A folder that goes away under a capture: nothing is called kept that nobody
// will find.
func TestShopGone(t *testing.T) {
	j := jigtest.New(jigtest.Config{TakeTime: 50 * time.Millisecond})
	port, dir := jigtest.Attach(t, j), t.TempDir()
	c := startCapture(t, dir, port)
	c.until(4, "kept ")
	if err := os.RemoveAll(filepath.Join(dir, "shop")); err != nil {
		t.Fatal(err)
	}
	status, complaint := c.end()
	if status != exitFailed || !strings.Contains(complaint, "readings.csv: was moved, deleted or replaced during the capture") {
		t.Errorf("exit status %d: %s", status, complaint)
	}
	c = startCapture(t, dir, port)
	if status, complaint := c.end(); status != exitDone {
		t.Errorf("exit status %d: %s", status, complaint)
	}
}

// Seals that cannot be synced when the record is closed are told, by the exit
// status too, whether the capture came to its end or not.
func TestSealsGone(t *testing.T) {
	for name, interrupted := range map[string]bool{"complete": false, "interrupted": true} {
		t.Run(name, func(t *testing.T) {
			j := jigtest.New(jigtest.Config{TakeTime: 20 * time.Millisecond})
			port, dir := jigtest.Attach(t, j), t.TempDir()
			c := startCapture(t, dir, port)
			c.until(4, "kept ")
			if err := os.Remove(filepath.Join(dir, "shop", "readings.seals.csv")); err != nil {
				t.Fatal(err)
			}
			if interrupted {
				send(t, c, os.Interrupt)
			}
			status, complaint := c.end()
			if status != exitFailed || !strings.Contains(complaint, "readings.seals.csv: was moved, deleted or replaced during the capture") {
				t.Errorf("exit status %d: %s", status, complaint)
			}
			if strings.Contains(complaint, "is not complete") != interrupted {
				t.Errorf("said of the capture: %s", complaint)
			}
			if all := strings.Join(c.said, "\n"); !strings.Contains(all, "hint: ") {
				t.Errorf("no hint:\n%s", all)
			}
		})
	}
}

// personsTerminal is a person's terminal, as a command's standard input, and where that person
// types.
func personsTerminal(t *testing.T) (keys io.Writer, desk *os.File) {
	t.Helper()
	term, err := jigtest.OpenTerminal()
	if err != nil {
		t.Skip(err)
	}
	t.Cleanup(func() { term.Close() })
	desk, err = os.OpenFile(term.Path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { desk.Close() })
	return term.Master, desk
}

// Only a person at a terminal is asked, and only yes is a yes.
func TestAskedAboutPitch(t *testing.T) {
	keys, desk := personsTerminal(t)
	var said bytes.Buffer
	e, wrong := &env{stderr: &said}, &capture.PitchError{Mount: "m.toml", String: 1, How: "at 98.0 Hz"}
	for answer, want := range map[string]bool{"y\n": true, "Yes\n": true, "n\n": false, "\n": false} {
		if _, err := keys.Write([]byte(answer)); err != nil {
			t.Fatal(err)
		}
		if got := e.goesOn(t.Context(), desk, wrong, "all the same?"); got != want {
			t.Errorf("%q: goes on %v", answer, got)
		}
	}
	if !strings.Contains(said.String(), "m.toml: string 1 ") || !strings.Contains(said.String(), "[y/N] ") {
		t.Errorf("asked: %s", &said)
	}
	if e.goesOn(t.Context(), strings.NewReader("y\n"), wrong, "all the same?") {
		t.Error("a pipe was asked")
	}
	none, err := os.Open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	defer none.Close()
	said.Reset()
	if e.goesOn(t.Context(), none, wrong, "all the same?") || said.Len() > 0 {
		t.Errorf("nobody was asked: %s", &said)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if e.goesOn(ended, desk, wrong, "all the same?") {
		t.Error("goes on though it is to end")
	}
}

// A pickup that comes back otherwise under its id is asked about before anything is
// plucked or written: a script ends, a person answers. Who goes on with a session that
// was begun is never asked.
func TestAskedAboutPickup(t *testing.T) {
	keys, desk := personsTerminal(t)
	bench := jigtest.New(jigtest.Config{})
	port, unplug := plug(t, bench)
	defer unplug()
	dir := t.TempDir()
	shop, first, other := filepath.Join(dir, "shop"), filepath.Join(dir, "first.toml"), filepath.Join(dir, "other.toml")
	otherText := strings.NewReplacer("1.9,", "1.5,", "M-01", "M-02").Replace(captureMount)
	if err := errors.Join(os.WriteFile(first, []byte(captureMount), 0o666), os.WriteFile(other, []byte(otherText), 0o666)); err != nil {
		t.Fatal(err)
	}
	const asked = `other.toml: pickup "P-9" is not as the record has it: batch "M-02", was "M-01" in session s001; pole 3 at 1.50 mm, was at 1.90 mm in session s001`
	for _, c := range []struct {
		what, answer string // "" answers nothing: a script
		words        []string
		want         int
		say          string
	}{
		{"the first time", "", []string{"--mount", first, "--takes", "2"}, exitDone, "session s001 complete"},
		{"a script", "", []string{"--mount", other, "--takes", "2"}, exitInput, asked + "\nhint: give another pickup an id of its own; where it is the same one, changed, say --same-pickup\n"},
		{"no", "n\n", []string{"--mount", other, "--takes", "2"}, exitInput, asked + "\nis it the same pickup, changed? [y/N] "},
		{"going on with the first", "", []string{"--mount", first, "--takes", "3"}, exitDone, "session s001 complete"},
		{"yes", "y\n", []string{"--mount", other, "--takes", "2"}, exitDone, "session s002 complete"},
		{"going on with the second", "", []string{"--mount", other, "--takes", "3"}, exitDone, "session s002 complete"},
		{"going on with the one before", "", []string{"--mount", first, "--takes", "4"}, exitDone, "session s001 complete"},
		{"once more, a script", "", []string{"--mount", other, "--takes", "2", "--again"}, exitInput, "say --same-pickup"},
		{"once more, told", "", []string{"--mount", other, "--takes", "2", "--again", "--same-pickup"}, exitDone, "session s003 complete"},
	} {
		made, rows := len(bench.Log()), recordedSize(shop)
		var stdin io.Reader = strings.NewReader("y\n")
		if c.answer != "" {
			if _, err := keys.Write([]byte(c.answer)); err != nil {
				t.Fatal(err)
			}
			stdin = desk
		}
		var said bytes.Buffer
		got := run(t.Context(), append([]string{"capture", "--shop", shop, "--port", port, "--purpose", "model"}, c.words...), stdin, &said, &said)
		if got != c.want || !strings.Contains(said.String(), c.say) {
			t.Errorf("%s: exit status %d, want %d, and %q\n%s", c.what, got, c.want, c.say, &said)
		}
		if done := got == exitDone; (len(bench.Log()) > made) != done || (recordedSize(shop) > rows) != done {
			t.Errorf("%s: %d takes made", c.what, len(bench.Log())-made)
		}
	}
}

// recordedSize is how long the files of a shop's record are together.
func recordedSize(shop string) (n int64) {
	for _, name := range []string{"readings.csv", "readings.seals.csv", "sessions.csv"} {
		if info, err := os.Stat(filepath.Join(shop, name)); err == nil {
			n += info.Size()
		}
	}
	return n
}

// A last line that a power cut tore stays out of a fit until the next capture sets it aside,
// and the fit says so, in its text and with --json, each time.
func TestFitSaysThatTheLastLineIsTorn(t *testing.T) {
	dir := t.TempDir()
	sample, err := os.ReadFile(filepath.Join("..", "..", "testdata", "sample-shop", "readings.csv"))
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "readings.csv")
	write(t, file, string(sample[:len(sample)-20]))
	write(t, filepath.Join(dir, "writer.open"), "")
	want := file + ": the last line is not whole ("
	for _, form := range []string{"--json=false", "--json=false", "--json"} {
		var out, errs bytes.Buffer
		if got := run(t.Context(), []string{"fit", "--shop", dir, form}, strings.NewReader(""), &out, &errs); got != exitDone {
			t.Fatalf("exit status %d\n%s", got, &errs)
		}
		if said := out.String() + errs.String(); strings.Count(said, want) != 1 {
			t.Errorf("%s: no %q in\n%s", form, want, said)
		}
	}
	if got, _ := os.ReadFile(file); !bytes.Equal(got, sample[:len(sample)-20]) {
		t.Error("the record was written to")
	}
}
