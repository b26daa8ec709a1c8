package main

import (
	"bytes"
	"os"
	"regexp"
	"strings"
	"testing"
)

// TestMisfiledSessionIsPutRight: a pickup is captured with two heights swapped in its mount
// file; fit names the session and the one command, with the file to correct; once the file
// is correct, that command files the session anew, and its cells count again.
func TestMisfiledSessionIsPutRight(t *testing.T) {
	if testing.Short() {
		t.Skip("captures and fits")
	}
	practiceShop(t, "Q")
	right, err := os.ReadFile("jig/Q.toml")
	if err != nil {
		t.Fatal(err)
	}
	port := startJig(t, "jig/Q.toml", "--speed", "3000")
	heights := regexp.MustCompile(`pole_heights_mm = \[(\S+), (\S+), (\S+), (\S+), (\S+), (\S+)\]`)
	wrong := heights.ReplaceAllString(string(right), "pole_heights_mm = [$4, $2, $3, $1, $5, $6]")
	if wrong == string(right) {
		t.Fatalf("no heights to swap in %s", right)
	}
	replace(t, "jig/Q.toml", wrong)
	try(t, "capture", "--port", port, "--mount", "jig/Q.toml", "--purpose", "model", "--takes", "6")
	said := fitSays(t)
	hint := regexp.MustCompile(`where session (\S+) is wrong: correct jig/Q\.toml, then '(evenpole record amend --session (\S+) --mount jig/Q\.toml)'`).FindStringSubmatch(said)
	if hint == nil || hint[1] != hint[3] {
		t.Fatalf("no command named: %s", said)
	}
	replace(t, "jig/Q.toml", string(right))
	try(t, words(hint[2])[1:]...)
	if said = fitSays(t); strings.Contains(said, "looks like a mistake") {
		t.Errorf("after %s: %s", hint[2], said)
	}
	says(t, `session `+hint[1]+`: model of Q, .* complete\n  36 good takes, 18 quiet readings, .*; 0 flagged, 18 taken back`, "record", "show", hint[1])
	says(t, `taken back: amended`, "record", "show", hint[1])
	says(t, `says that already: nothing to amend`, words(hint[2])[1:]...)
}

// replace writes a file anew.
func replace(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

// fitSays fits the shop's record.
func fitSays(t *testing.T) string {
	t.Helper()
	var out, errs bytes.Buffer
	if status := run(t.Context(), []string{"fit"}, strings.NewReader(""), &out, &errs); status != exitDone {
		t.Fatalf("fit: exit status %d\n%s%s", status, &out, &errs)
	}
	return out.String() + errs.String()
}
