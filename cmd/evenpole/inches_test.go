package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// inchKeys are what is in mm beside inches: columns of the record, sizes of pictures
// and pages, headers of a spreadsheet as they stand there, and the change from mm.
var inchKeys = regexp.MustCompile(`"[\w ]+ \(mm\)"|units: mm, now in|\b(core|gauge|pole_height|string_height|probe_gap)_mm\b|(width|height|size|margin|max-width|top|bottom|left|right|gap|padding|border)[a-z-]*[:=]"?[0-9. m]*mm`)

// A bass with a blade and screws, and a twelve-string that is its pair, in inches.
const (
	bladeInInches = `id = "B-1"
set = "bass 45-105"
[instrument]
fretboard_radius_in = 12
string_spread_in = 2.2
scale_length_in = 34
pickup_from_bridge_in = 4
[pickup]
batch = "gale"
poles = "blade"
pole_heights_fixed_in = [0.04]
pickup_raise_in = 0.06
pickup_lower_in = 0.06
min_gap_in = 0.06
string_height_first_in = 0.16
string_height_last_in = 0.18
pole_diameter_in = 0.125
[[pickup.coil]]
from_bridge_in = 3.3
polarity = "opposite"
winding = "opposite"
poles = "screw"
pole_height_min_in = 0
pole_height_max_in = 0.1
pole_height_step_in = 0.002
[target]
tolerance_db = 1.5
`
	twelveInInches = `id = "B-2"
set = "twelve-string 10-46"
[instrument]
fretboard_radius_in = 12
string_spread_in = 2.05
scale_length_in = 25.5
pickup_from_bridge_in = 4
[pickup]
batch = "gale"
poles = "rod"
strings_per_pole = 2
pole_height_min_in = 0
pole_height_max_in = 0.12
magnet_lengths_in = [0.65, 0.67, 0.7, 0.73]
former_depth_in = 0.62
min_gap_in = 0.06
string_height_first_in = 0.12
string_height_last_in = 0.14
[pair]
order = "blade.toml"
difference_db = 2
[target]
tolerance_db = 2
`
)

// TestEveryCommandInInches runs every example, but for what writes down and explains the
// formats of files, in a shop that thinks in inches with an order in inches, and looks for
// a length in mm alone: in what is printed, and in every paper and picture.
func TestEveryCommandInInches(t *testing.T) {
	if testing.Short() {
		t.Skip("runs every command")
	}
	practiceShop(t)
	write(t, "shop.toml", "units = \"in\"\n")
	inInches(t, "orders/L-012.toml", map[string]string{
		"string_spread_mm = 52.0": "string_spread_in = 2.05", "scale_length_mm = 648.0": "scale_length_in = 25.5", "pickup_from_bridge_mm = 100.0": "pickup_from_bridge_in = 3.94",
		"pole_height_min_mm = 0.0": "pole_height_min_in = 0", "pole_height_max_mm = 3.0": "pole_height_max_in = 0.118", "pole_height_step_mm = 0.05": "pole_height_step_in = 0.002",
		"min_gap_mm = 1.2": "min_gap_in = 0.047", "string_height_first_mm = 3.0": "string_height_first_in = 0.118", "string_height_last_mm = 3.4": "string_height_last_in = 0.134",
		"heights_mm = [0.4, 0.8, 1.9, 1.4, 0.9, 0.5]": "heights_in = [0.016, 0.031, 0.075, 0.055, 0.035, 0.020]",
	})
	exampleFiles(t)
	write(t, "orders/blade.toml", bladeInInches)
	write(t, "orders/twelve.toml", twelveInInches)
	write(t, "jig/gale.toml", "batch = \"gale\"\nprobe_gap_mm = 0.5\nmagnets = [\"gale/1\", \"gale/2\", \"gale/3\", \"gale/4\", \"gale/5\", \"gale/6\"]\n")
	port := startJig(t, "jig/L-012-a.toml", "--speed", "3000", "--pole", "4=-0.9")
	for range 2 {
		try(t, "capture", "--port", port, "--mount", "jig/L-012-a.toml", "--purpose", "repeat", "--again")
	}
	more := [][]string{{"explain", "--order", "orders/L-012.toml", "--heights", "0.02,0.04,1.9mm,0.05,0.03,0.02"}, {"capture", "--port", port, "--mount", "jig/gale.toml", "--purpose", "batch", "--field", "all"}, {"plan", "orders/L-012.toml", "--match-magnets"}}
	for _, order := range []string{"orders/blade.toml", "orders/twelve.toml"} {
		more = append(more, []string{"plan", order, "--what-if"}, []string{"explain", "--order", order}, []string{"next", "--order", order})
	}
	for _, name := range exampleOrder() {
		if name == "jig talk" || name == "jig sim" || name == "page" || name == "notices" || name == "man" || forOwners(name) {
			continue
		}
		for _, line := range examples[name] {
			if strings.HasPrefix(line, "evenpole demo --dir") {
				continue // the first is enough
			}
			more = append(more, words(strings.ReplaceAll(line, "/dev/ttyACM0", port))[1:])
		}
	}
	for _, args := range more {
		var out, errs bytes.Buffer
		status := run(t.Context(), append(args, "--units", "in"), strings.NewReader(""), &out, &errs)
		if status == exitFailed || status == exitInput {
			t.Errorf("evenpole %s: exit status %d\n%s%s", strings.Join(args, " "), status, &out, &errs)
		}
		if args[0] == "order" || args[0] == "mount" {
			continue // which says both units
		}
		noStray(t, "evenpole "+strings.Join(args, " "), out.String()+errs.String())
	}
	papersInInches(t)
}

// papersInInches looks at every page and picture that was written.
func papersInInches(t *testing.T) {
	t.Helper()
	pages := 0
	for _, pattern := range []string{"*.svg", "*.html", "evenpole-demo/plans/*.svg", "evenpole-demo/certificates/*.html", "plans/*.svg", "pictures/*.svg", "proofs/*.svg", "certificates/*.html"} {
		files, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			if strings.HasPrefix(file, filepath.Join("certificates", "0001-")) || strings.HasPrefix(file, "plans") { // the demo's own, before the shop thought in inches
				continue
			}
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			pages++
			noStray(t, file, regexp.MustCompile(`(?s)<style.*?</style>`).ReplaceAllString(strings.ReplaceAll(string(text), "\u00a0", " "), ""))
		}
	}
	if pages < 8 {
		t.Errorf("%d pages and pictures looked at", pages)
	}
}

// noStray fails when a text has a length in mm that does not stand beside inches.
func noStray(t *testing.T, what, text string) {
	t.Helper()
	for line := range strings.Lines(inchKeys.ReplaceAllString(text, "")) {
		if stray := strayMM.FindString(besideInches.ReplaceAllString(line, "")); stray != "" {
			t.Errorf("%s: stray millimetres: %.300s", what, strings.TrimSpace(stray))
		}
	}
}

// inInches replaces lengths in a file.
func inInches(t *testing.T, file string, by map[string]string) {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	out := string(text)
	for old, with := range by {
		if !strings.Contains(out, old) {
			t.Fatalf("%s: no %s", file, old)
		}
		out = strings.Replace(out, old, with, 1)
	}
	replace(t, file, out)
}
