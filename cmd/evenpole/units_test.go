package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// besideInches are millimetres that stand beside inches: behind them in brackets, or in
// a column or a row of their own.
var besideInches = regexp.MustCompile(` in \([^()]* mm\)|height in\s+height mm|gauge in\s+core in\s+gauge mm\s+core mm|pole height, mm|string height, mm`)

var strayMM = regexp.MustCompile(`.*\bmm\b.*`)

// TestInchesInInchesOut: an order in inches is answered in inches, by every command, in
// pictures as well; documents of --json stay in mm.
func TestInchesInInchesOut(t *testing.T) {
	dir := t.TempDir()
	record, err := os.ReadFile(filepath.Join("..", "..", "testdata", "sample-shop", "readings.csv"))
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(dir)
	write(t, "readings.csv", string(record))
	try(t, "order", "new", "--units", "in", "order.toml")
	order, err := os.ReadFile("order.toml")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.NewReplacer("# former_depth", "former_depth", "# string_swing", "string_swing", "# [[compare]]", "[[compare]]",
		"# name = \"what", "name = \"what", "# heights_in", "heights_in").Replace(string(order))
	write(t, "order.toml", text)
	// The first such key is the order's own; a second coil has one, too.
	write(t, "fixed.toml", strings.Replace(string(order), "# pole_heights_fixed", "pole_heights_fixed", 1))
	for _, args := range [][]string{
		{"plan", "order.toml", "--what-if", "--svg", "poles.svg", "--full-size", "gauge.svg"},
		{"plan", "fixed.toml"},
		{"explain", "--order", "order.toml", "--svg", "causes.svg"},
		{"next", "--order", "order.toml"},
		{"strings", "--units", "in"},
	} {
		out := said(t, args...)
		if stray := strayMM.FindString(besideInches.ReplaceAllString(out, "")); stray != "" || !strings.Contains(out, " in") {
			t.Errorf("evenpole %s: stray millimetres: %q in\n%s", strings.Join(args, " "), stray, out)
		}
	}
	for _, file := range []string{"poles.svg", "gauge.svg", "causes.svg"} {
		picture, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		shown := regexp.MustCompile(`(width|height)="[0-9.]+mm"`).ReplaceAllString(string(picture), "")
		if stray := strayMM.FindString(besideInches.ReplaceAllString(shown, "")); stray != "" {
			t.Errorf("%s: stray millimetres: %q", file, stray)
		}
	}
	if in, mm := said(t, "plan", "order.toml", "--json"), said(t, "plan", "order.toml", "--json", "--units", "mm"); in != mm {
		t.Error("--json in inches says something else")
	}
	if out := said(t, "plan", "order.toml", "--units", "mm"); strings.Contains(out, " in (") || !strings.Contains(out, "height mm") {
		t.Errorf("--units mm: %s", out)
	}
	write(t, "shop.toml", "units = \"in\"\n")
	if out := said(t, "strings"); !strings.Contains(out, "gauge in") {
		t.Errorf("a shop of inches lists strings so:\n%s", out)
	}
}

// said is all that a command prints.
func said(t *testing.T, args ...string) string {
	t.Helper()
	var out bytes.Buffer
	if status := run(t.Context(), args, strings.NewReader(""), &out, &out); status != exitDone {
		t.Errorf("evenpole %s: exit status %d\n%s", strings.Join(args, " "), status, out.String())
	}
	return out.String()
}
