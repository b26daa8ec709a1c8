package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// practiceShop makes the demo's shop, with copies of its pickup's mount under other ids.
func practiceShop(t *testing.T, pickups ...string) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "shop")
	try(t, "demo", "--dir", dir)
	t.Chdir(dir)
	built, err := os.ReadFile("jig/L-012-a.toml")
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range pickups {
		text := regexp.MustCompile(`(?m)^probe_gap_mm.*$`).ReplaceAllString(strings.ReplaceAll(string(built), "L-012-a", id), "")
		write(t, "jig/"+id+".toml", text+"\nprobe_gap_mm = 0.5\n")
	}
}

// says runs a command and fails unless what it prints matches.
func says(t *testing.T, pattern string, args ...string) {
	t.Helper()
	var out, errs bytes.Buffer
	run(t.Context(), args, strings.NewReader(""), &out, &errs)
	if text := out.String() + errs.String(); !regexp.MustCompile(pattern).MatchString(text) {
		t.Errorf("evenpole %s: nothing like %q in\n%s", strings.Join(args, " "), pattern, text)
	}
}

// TestPracticeOfFaults: what is wrong with a pickup on the simulated jig is what check
// finds, and what is wrong with loose magnets is what batch finds.
func TestPracticeOfFaults(t *testing.T) {
	if testing.Short() {
		t.Skip("captures several pickups")
	}
	practiceShop(t, "weak", "low", "turned")
	for id, c := range map[string]struct {
		flags []string
		want  string
	}{
		"weak":   {[]string{"--weak", "4=40"}, `likeliest: the magnet of string 4 is some [34]\d % weaker`},
		"low":    {[]string{"--pole", "4=-0.7"}, `(likeliest|or): the pole of string 4 stands some 0\.[5-9] mm lower`},
		"turned": {[]string{"--reversed", "2"}, `likeliest: the magnet of string 2 is reversed`},
	} {
		mount := "jig/" + id + ".toml"
		port := startJig(t, mount, append([]string{"--speed", "3000"}, c.flags...)...)
		try(t, "capture", "--port", port, "--mount", mount, "--purpose", "check", "--takes", "6")
		if id != "low" {
			try(t, "capture", "--port", port, "--mount", mount, "--purpose", "check", "--field", "all")
		}
		says(t, c.want, "check", "--order", "orders/L-012.toml", "--pickup", id)
	}
	var names []string
	for i := range 12 {
		names = append(names, fmt.Sprintf("%q", fmt.Sprint("squall/", i+1)))
	}
	write(t, "jig/squall.toml", "batch = \"squall\"\nprobe_gap_mm = 0.5\nmagnets = ["+strings.Join(names, ", ")+"]\n")
	port := startJig(t, "jig/squall.toml", "--speed", "3000", "--weak", "3=25", "--reversed", "7")
	try(t, "capture", "--port", port, "--mount", "jig/squall.toml", "--purpose", "batch", "--field", "all")
	says(t, `(?s)outliers .*squall/3 .*the other pole up: squall/7`, "batch", "--batch", "squall")
}

// TestPracticeOfDays: hands that mount in turns show in repeat, by the names that captures
// were told, and a level that drifts over days shows in drift.
func TestPracticeOfDays(t *testing.T) {
	if testing.Short() {
		t.Skip("captures for weeks")
	}
	practiceShop(t, "Q", "R")
	port := startJig(t, "jig/Q.toml", "--speed", "3000", "--remount", "--hands", "Bo,Ida", "--first-day", "2026-03-02", "--mountings-a-day", "3")
	for i := range 12 {
		try(t, "capture", "--port", port, "--mount", "jig/Q.toml", "--purpose", "repeat", "--takes", "3", "--again", "--operator", []string{"Bo", "Ida"}[i/3%2])
	}
	says(t, `(?s)12 sessions of Q, 2026-03-02 to 2026-03-05.* operator +2 +.* sitting +4 .* mounting +12 `, "repeat", "--pickup", "Q")
	port = startJig(t, "jig/R.toml", "--speed", "3000", "--remount", "--first-day", "2026-03-02", "--drift-db", "-0.05")
	for range 26 {
		try(t, "capture", "--port", port, "--mount", "jig/R.toml", "--purpose", "repeat", "--takes", "2", "--again")
	}
	says(t, `level: out of control(?s).* low, on \d+ Mar 2026`, "drift", "--reference", "R")
}

func TestPracticeIsRefused(t *testing.T) {
	for _, c := range []struct {
		want string
		args []string
	}{
		{"weak: expected a string and a number such as 4=40, got \"4\"", []string{"--weak", "4"}},
		{"reversed: expected one of the 6 magnets that are mounted, got 7", []string{"--reversed", "7"}},
		{"first-day: expected a day", []string{"--remount", "--first-day", "Monday"}},
		{"expected --remount with them", []string{"--hands", "Bo"}},
		{"expected --first-day with it", []string{"--remount", "--drift-db", "0.1"}},
		{"mountings-a-day: expected 1 or more", []string{"--remount", "--mountings-a-day", "0"}},
	} {
		says(t, regexp.QuoteMeta(c.want), append([]string{"jig", "sim"}, c.args...)...)
	}
}
