package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"
)

// TestEveryCommandHasAnExample: and no example is of a command that there is not.
func TestEveryCommandHasAnExample(t *testing.T) {
	left := map[string]bool{}
	for name := range examples {
		left[name] = true
	}
	root := newRootCmd(&env{}, new(bool))
	_ = eachCommand(root, func(cmd *cobra.Command) error {
		name := strings.TrimPrefix(cmd.CommandPath(), "evenpole ")
		if len(examples[name]) == 0 && cmd.Runnable() && !cmd.HasSubCommands() && !strings.HasPrefix(name, "completion") {
			t.Errorf("%s has no example", name)
		}
		delete(left, name)
		return nil
	})
	if len(left) > 0 {
		t.Errorf("examples of no command: %v", left)
	}
}

// TestExamplesRun runs every example of the help, in the shop that the demo leaves.
func TestExamplesRun(t *testing.T) {
	if testing.Short() {
		t.Skip("runs every command")
	}
	dir := filepath.Join(t.TempDir(), "shop")
	try(t, "demo", "--dir", dir)
	t.Chdir(dir)
	write(t, "jig/gale.toml", "batch = \"gale\"\nprobe_gap_mm = 0.5\nmagnets = [\"gale/1\", \"gale/2\", \"gale/3\", \"gale/4\", \"gale/5\", \"gale/6\"]\n")
	exampleFiles(t)
	port := startJig(t, "jig/L-012-a.toml")
	for range 2 {
		try(t, "capture", "--port", port, "--mount", "jig/L-012-a.toml", "--purpose", "repeat", "--again")
	}
	for _, name := range exampleOrder() {
		for _, line := range examples[name] {
			args := words(strings.ReplaceAll(line, "/dev/ttyACM0", port))[1:]
			if forOwners(name) {
				needsDatabase(t, args)
				continue
			}
			if name == "jig talk" || name == "jig sim" || name == "page" {
				tryBriefly(t, args)
				continue
			}
			try(t, args...)
		}
	}
}

// exampleFiles writes the spreadsheets and recordings that examples read, and has another bench share in
// the folder that they name.
func exampleFiles(t *testing.T) {
	t.Helper()
	write(t, "sheet.csv", "String;Core (in);Pole height (mm);String height (mm);RMS (mV)\n1;0,010;0,5;3,0;12,5\n")
	write(t, "friend.csv", "String,Pole height (mm),String height (mm),Output\n1,0.5,3.0,12.5\n")
	writeRecordings(t, "jig/T-1-1.toml")
	try(t, "share", "init", "--folder", "stick")
	otherBench(t, "stick")
}

// otherBench shares a copy of this folder's readings as another bench.
func otherBench(t *testing.T, folder string) {
	t.Helper()
	text, err := os.ReadFile("readings.csv")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	write(t, filepath.Join(dir, "readings.csv"), string(text))
	try(t, "share", "--shop", dir, "--bench", "south", "--folder", folder)
}

// forOwners tells whether a command is one for the owner of a database.
func forOwners(name string) bool { return name == "share admit" || name == "share close" }

// needsDatabase runs a command that has no database here, and has to say so.
func needsDatabase(t *testing.T, args []string) {
	t.Helper()
	for _, name := range []string{"PGSERVICE", "PGHOST", "PGDATABASE", "PGUSER", "PGPORT"} {
		t.Setenv(name, "")
	}
	var stderr bytes.Buffer
	if status := run(context.Background(), args, nil, io.Discard, &stderr); status != exitInput || !strings.Contains(stderr.String(), "nothing says where the database is") {
		t.Errorf("%v: exit status %d, %s", args, status, &stderr)
	}
}

// exampleOrder is the commands with examples, those first that make what others read.
func exampleOrder() []string {
	first := []string{"share init", "share", "capture", "fit", "check"}
	var names []string
	for name := range examples {
		if !slices.Contains(first, name) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return append(first, names...)
}

// try runs a command, which has to come to an end as it should.
func try(t *testing.T, args ...string) {
	t.Helper()
	var out, errs bytes.Buffer
	status := run(t.Context(), args, strings.NewReader(""), &out, &errs)
	if status == exitFailed || status == exitInput {
		t.Errorf("evenpole %s: exit status %d\n%s%s", strings.Join(args, " "), status, out.String(), errs.String())
	}
}

// tryBriefly runs a command that goes on until it is told to stop, and stops it after its
// first line.
func tryBriefly(t *testing.T, args []string) {
	t.Helper()
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	defer stop()
	r, w := io.Pipe()
	var errs bytes.Buffer
	status := make(chan int, 1)
	go func() {
		defer w.Close()
		status <- run(ctx, args, strings.NewReader(""), w, &errs)
	}()
	line, _ := bufio.NewReader(r).ReadString('\n')
	stop()
	go io.Copy(io.Discard, r)
	if s := <-status; s != exitDone || line == "" {
		t.Errorf("evenpole %s: exit status %d after %q\n%s", strings.Join(args, " "), s, line, errs.String())
	}
}

// startJig runs a simulated jig for the length of a test and returns its port.
func startJig(t *testing.T, mount string, more ...string) string {
	t.Helper()
	r, w := io.Pipe()
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan int, 1)
	go func() {
		defer w.Close()
		done <- run(ctx, append([]string{"jig", "sim", "--mount", mount, "--speed", "400"}, more...), strings.NewReader(""), w, io.Discard)
	}()
	t.Cleanup(func() { stop(); <-done })
	line, err := bufio.NewReader(r).ReadString('\n')
	if err != nil {
		t.Fatalf("the simulated jig says %q: %v", line, err)
	}
	go io.Copy(io.Discard, r)
	return strings.TrimSpace(line)
}

// words splits a line as a shell does, as far as examples need it.
func words(line string) []string {
	var out []string
	for i, part := range strings.Split(line, "'") {
		if i%2 == 1 {
			out = append(out, part)
			continue
		}
		out = append(out, strings.Fields(part)...)
	}
	return out
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}
