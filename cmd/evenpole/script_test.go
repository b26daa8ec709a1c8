package main

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"evenpole/shop"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"evenpole": checkedMain,
	})
}

var update = flag.Bool("update", false, "write the texts that tests expect anew")

// TestScripts runs every command as its own process: exit status, both
// outputs and the files left behind. Run with -update to rewrite expectations.
//
// Beside the usual commands there are
//
//	status N evenpole ARGS...           the exit status is N
//	refused N REGEXP evenpole ARGS...   the same, nothing on standard output, one
//	                                    line of error that matches, hints at most
//	                                    beside it, and no file made or changed
//	keys KEY...                         standard output is a JSON object with these
//	verdict evenpole check ARGS...      the exit status says what --json says
//	noworse FILE                        the plan on standard output expects no more spread
//	                                    than the one in the file
//	scant FILE                          a record too poor to plan from is refused, or
//	                                    fitted and planned from with warnings; see cmdScant
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		UpdateScripts:       *update,
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup:               copySamples,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"status":  cmdStatus,
			"refused": cmdRefused,
			"keys":    cmdKeys,
			"verdict": cmdVerdict,
			"noworse": cmdNoWorse,
			"scant":   cmdScant,
		},
	})
}

// copySamples gives every script the sample record, what it was earlier, a model
// of it and a record with mistakes, in a folder of their own: readings.csv makes a
// shop of the folder that holds it.
func copySamples(e *testscript.Env) error {
	dir := filepath.Join(e.WorkDir, "sample")
	if err := os.Mkdir(dir, 0o777); err != nil {
		return err
	}
	for name, from := range map[string]string{"readings.csv": "testdata/sample-shop/readings.csv", "model.json": "fit/testdata/model.json", "slips.csv": "testdata/slips/readings.csv"} {
		text, err := os.ReadFile(filepath.Join("..", "..", filepath.FromSlash(from)))
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o666); err != nil {
			return err
		}
	}
	if err := copyMagnets(e.WorkDir); err != nil {
		return err
	}
	return writeEarly(filepath.Join(dir, "early.csv"), filepath.Join(dir, "readings.csv"))
}

// copyMagnets makes a shop of field readings alone.
func copyMagnets(work string) error {
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "sample-shop", "fields.csv"))
	if err != nil {
		return err
	}
	dir := filepath.Join(work, "magnets")
	return errors.Join(os.Mkdir(dir, 0o777), os.WriteFile(filepath.Join(dir, "fields.csv"), text, 0o666))
}

// writeEarly writes the sample record as it was before its last pickup.
func writeEarly(path, record string) error {
	text, err := os.ReadFile(record)
	if err != nil {
		return err
	}
	var early strings.Builder
	for line := range strings.Lines(string(text)) {
		if !strings.Contains(line, ",P4,") {
			early.WriteString(line)
		}
	}
	return os.WriteFile(path, []byte(early.String()), 0o666)
}

func cmdStatus(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status N evenpole ARGS...")
	}
	if got := exitOf(ts, args[1:]); strconv.Itoa(got) != args[0] {
		ts.Fatalf("exit status %d, want %s", got, args[0])
	}
	if said := ts.ReadFile("stderr"); args[0] == "2" && !strings.Contains("\n"+said, "\nevenpole: ") {
		ts.Fatalf("exit status 2 without a word of why on standard error: %q", said)
	}
}

// exitOf runs a program in the script's folder and returns its exit status.
func exitOf(ts *testscript.TestScript, args []string) int {
	err := ts.Exec(args[0], args[1:]...)
	if said := ts.ReadFile("stderr"); strings.Contains(said, "\ngoroutine ") { // its exit status is that of wrong input
		ts.Fatalf("%s: %s", args[0], said)
	}
	var x *exec.ExitError
	switch {
	case err == nil:
		return 0
	case errors.As(err, &x):
		return x.ExitCode()
	}
	ts.Fatalf("%s: %v", args[0], err)
	return -1
}

func cmdRefused(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 3 {
		ts.Fatalf("usage: refused N REGEXP evenpole ARGS...")
	}
	want, err := regexp.Compile(args[1])
	ts.Check(err)
	before := files(ts)
	cmdStatus(ts, false, append(args[:1:1], args[2:]...))
	if after := files(ts); after != before {
		ts.Fatalf("files were written; before:\n%safter:\n%s", before, after)
	}
	if out := ts.ReadFile("stdout"); out != "" {
		ts.Fatalf("standard output: %q", out)
	}
	lines := strings.Split(strings.TrimSuffix(ts.ReadFile("stderr"), "\n"), "\n")
	if !strings.HasPrefix(lines[0], "evenpole: ") || !want.MatchString(lines[0]) {
		ts.Fatalf("error %q, want evenpole: and %q", lines[0], want)
	}
	for _, l := range lines[1:] {
		if !strings.HasPrefix(l, "hint: ") {
			ts.Fatalf("more than one line of error: %q", l)
		}
	}
}

// files lists the script's folder: names, and of files the size and the time
// of the last change.
func files(ts *testscript.TestScript) string {
	var list strings.Builder
	err := filepath.WalkDir(ts.MkAbs("."), func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil || d.IsDir() {
			fmt.Fprintln(&list, path)
			return err
		}
		fmt.Fprintln(&list, path, info.Size(), info.ModTime().UnixNano())
		return nil
	})
	ts.Check(err)
	return list.String()
}

func cmdKeys(ts *testscript.TestScript, neg bool, args []string) {
	var object map[string]json.RawMessage
	ts.Check(json.Unmarshal([]byte(ts.ReadFile("stdout")), &object))
	for _, key := range args {
		if _, ok := object[key]; ok == neg {
			ts.Fatalf("key %q: there %v, want %v", key, ok, !neg)
		}
	}
}

func cmdVerdict(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: verdict evenpole check ARGS...")
	}
	status := exitOf(ts, append(args[:len(args):len(args)], "--json"))
	var v struct {
		Verdict string `json:"verdict"`
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile("stdout")), &v))
	want, ok := map[string]int{"conforms": 0, "out of tolerance": 3, "cannot tell yet": 4}[v.Verdict]
	if !ok || status != want {
		ts.Fatalf("exit status %d with verdict %q, want %d", status, v.Verdict, want)
	}
}

// cmdNoWorse allows for as much as one pole set 0.05 mm off does to a string: more
// data may find that pickups differ more than fewer showed.
func cmdNoWorse(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: noworse FILE")
	}
	var now, before struct {
		Spread float64 `json:"spread_db"`
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile("stdout")), &now))
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[0])), &before))
	const slack = 0.15
	if before.Spread <= 0 || now.Spread > before.Spread+slack {
		ts.Fatalf("expected spread %.2f dB, before %.2f dB", now.Spread, before.Spread)
	}
}

// noNumber is how figures that are none get into a text.
var noNumber = regexp.MustCompile(`(?i)\b(nan|[+-]?inf)\b|panic|goroutine`)

// cmdScant fits a record that says little. A refusal is one of input, with
// nothing written. A model comes with a warning; the plan for order.toml from it
// comes with warnings too, and is not sure that all strings will be within
// tolerance.
func cmdScant(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: scant FILE")
	}
	model := args[0] + ".json"
	switch status := exitOf(ts, []string{"evenpole", "fit", "--readings", args[0], "--out", model}); {
	case status == exitInput && shop.Missing(ts.MkAbs(model)):
		return
	case status != exitDone:
		ts.Fatalf("exit status %d", status)
	}
	text := ts.ReadFile("stdout") + ts.ReadFile("stderr") + ts.ReadFile(model)
	if bad := noNumber.FindString(text); bad != "" {
		ts.Fatalf("fit says %q", bad)
	}
	if !strings.Contains(text, "warning: ") {
		ts.Fatalf("a model of next to nothing without a warning")
	}
	switch status := exitOf(ts, []string{"evenpole", "plan", "--order", "order.toml", "--model", model, "--json"}); {
	case status == exitInput:
		return
	case status != exitDone:
		ts.Fatalf("plan: exit status %d", status)
	}
	var p struct {
		Meets    float64  `json:"meets"`
		Warnings []string `json:"warnings"`
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile("stdout")), &p))
	const sure = 0.95
	if p.Meets > sure || len(p.Warnings) == 0 {
		ts.Fatalf("the plan meets with a chance of %.2f, %d warnings", p.Meets, len(p.Warnings))
	}
}

// runIn runs a command in a folder.
func runIn(dir string, words ...string) (status int, said string) {
	cmd := exec.Command(words[0], words[1:]...)
	cmd.Dir = dir
	text, _ := cmd.CombinedOutput() // how it ended is in the status
	return cmd.ProcessState.ExitCode(), string(text)
}
