package main

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// bigShop is a made-up shop whose record takes long to fit, with an order that takes
// long to plan.
func bigShop(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	sample := filepath.Join("..", "..", "testdata", "sample-shop")
	text, err := os.ReadFile(filepath.Join(sample, "readings.csv"))
	if err != nil {
		t.Fatal(err)
	}
	header, rows, _ := strings.Cut(string(text), "\n")
	var all bytes.Buffer
	fmt.Fprintln(&all, header)
	for k := range 40 {
		for line := range strings.Lines(rows) {
			cells := strings.Split(line, ",")
			cells[1] += fmt.Sprintf("-%d", k)        // session
			cells[4] = fmt.Sprintf("%08X", 0xA000+k) // boot
			cells[6] += fmt.Sprintf("-%d", k)        // pickup
			all.WriteString(strings.Join(cells, ","))
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "readings.csv"), all.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	order, err := os.ReadFile(filepath.Join(sample, "orders", "A-001.toml"))
	if err != nil {
		t.Fatal(err)
	}
	_, set, _ := strings.Cut(string(order), "[[string]]")
	set = strings.ReplaceAll("[[string]]"+set, "[[string]]", "[[alternative.string]]")
	long := strings.Replace(string(order), "pole_height_step_mm = 0.05", "pole_height_step_mm = 0.005", 1)
	for k := range 200 {
		long += fmt.Sprintf("[[alternative]]\nname = \"set %d\"\n%s", k, set)
	}
	if err := os.WriteFile(filepath.Join(dir, "order.toml"), []byte(long), 0o666); err != nil {
		t.Fatal(err)
	}
	return dir
}

// startLong starts a command and waits until it has worked for a while.
func startLong(t *testing.T, args ...string) (cmd *exec.Cmd, said *bytes.Buffer) {
	t.Helper()
	cmd, said = exec.Command("evenpole", args...), &bytes.Buffer{}
	cmd.Stdout, cmd.Stderr = said, said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill() })
	for worked(t, cmd.Process.Pid) < 10 {
		time.Sleep(10 * time.Millisecond)
	}
	return cmd, said
}

// worked is the processor time that a process has used, in hundredths of a second. It is
// large for one that has ended, so that nobody waits for it.
func worked(t *testing.T, pid int) (ticks int) {
	t.Helper()
	f, err := os.Open(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return 1 << 30
	}
	defer f.Close()
	words := bufio.NewScanner(f)
	words.Split(bufio.ScanWords)
	for n := 1; words.Scan(); n++ {
		switch {
		case n == 3 && words.Text() == "Z":
			return 1 << 30
		case n == 14:
			fmt.Sscan(words.Text(), &ticks)
			return ticks
		}
	}
	return 0
}

// Every signal that asks the program to end, ends what takes long, with the status of a
// failure and nothing written.
func TestInterrupted(t *testing.T) {
	dir := bigShop(t)
	commands := map[string][]string{
		"fit":  {"fit", "--shop", dir},
		"plan": {"plan", "--shop", dir, "--order", filepath.Join(dir, "order.toml"), "--csv", filepath.Join(dir, "plan.csv")},
	}
	for name, args := range commands {
		for _, s := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP} {
			t.Run(name+" "+s.String(), func(t *testing.T) {
				cmd, said := startLong(t, args...)
				if err := cmd.Process.Signal(s); err != nil {
					t.Fatal(err)
				}
				cmd.Wait()
				if got := cmd.ProcessState.ExitCode(); got != exitFailed || !strings.Contains(said.String(), "evenpole: stopped\n") {
					t.Errorf("exit status %d\n%s", got, said)
				}
			})
		}
	}
	left, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil || len(left) != 2 {
		t.Errorf("left in the shop: %q, %v", left, err)
	}
}
