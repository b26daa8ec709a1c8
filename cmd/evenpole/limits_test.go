//go:build linux || darwin

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// Whatever cannot be written, as files may not grow, costs nothing that stood in the shop,
// and what is asked for once more is done. bench/failing does so with every system call.
func TestCommandsThatMayNotWrite(t *testing.T) {
	base := limitedShop(t)
	before, err := os.ReadFile(filepath.Join(base, "readings.csv"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		words []string
		good  []int // exit statuses of one that works
		done  string
	}{
		{[]string{"record", "import", "more.csv", "--yes"}, []int{0}, ""},
		{[]string{"record", "retract", "--session", "import-list"}, []int{0}, "was taken back already"},
		{[]string{"record", "amend", "--session", "import-list", "--mount", "mount.toml"}, []int{0}, ""},
		{[]string{"record", "seal"}, []int{0}, ""},
		{[]string{"fit"}, []int{0}, ""},
		{[]string{"check", "--order", "order.toml", "--pickup", "L-1"}, []int{0, 3, 4}, ""},
	} {
		stopped := 0
		for _, blocks := range []int{0, 1, 3, 5, 20, 100} { // of 512 or 1024 bytes, as the shell counts
			shop := t.TempDir()
			if err := os.CopyFS(shop, os.DirFS(base)); err != nil {
				t.Fatal(err)
			}
			what := fmt.Sprintf("%v, %d blocks", c.words, blocks)
			limit := []string{"sh", "-c", fmt.Sprintf(`ulimit -f %d && exec "$0" "$@"`, blocks)}
			status, said := runIn(shop, append(limit, append([]string{"evenpole"}, c.words...)...)...)
			if strings.Contains(said, "goroutine ") {
				t.Errorf("%s: %s", what, said)
			}
			if !slices.Contains(c.good, status) {
				stopped++
			}
			if now, err := os.ReadFile(filepath.Join(shop, "readings.csv")); err != nil || !strings.HasPrefix(string(now), string(before)) {
				t.Errorf("%s: readings are gone: %v", what, err)
			}
			status, said = runIn(shop, append([]string{"evenpole"}, c.words...)...)
			if !slices.Contains(c.good, status) && (c.done == "" || !strings.Contains(said, c.done)) {
				t.Errorf("%s: again: status %d: %s", what, status, said)
			}
			if status, said := runIn(shop, "evenpole", "record", "verify"); status != 0 {
				t.Errorf("%s: %s", what, said)
			}
		}
		if stopped == 0 {
			t.Errorf("%v: nothing was stopped", c.words)
		}
	}
}

// limitedShop is a shop with the readings of a list, sealed, and what the commands want.
func limitedShop(t *testing.T) (shop string) {
	t.Helper()
	shop = t.TempDir()
	list := func(pickup string, strings int) string {
		text := "pickup,purpose,batch,string,core_mm,gauge_mm,wrap,pole_height_mm,string_height_mm,rms_mv,excite\n"
		for i := range strings {
			for take := range 3 {
				text += fmt.Sprintf("%s,check,M,%d,.25,.25,plain,%g,3,%d.%d,travel\n", pickup, i+1, 0.2*float64(i), 10+i, take)
			}
		}
		return text
	}
	for name, text := range map[string]string{
		"list.csv": list("L-1", 6), "more.csv": list("L-2", 6), "order.toml": sixStringOrder,
		"mount.toml": captureMount, "strings.toml": "",
	} {
		if err := os.WriteFile(filepath.Join(shop, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if status, said := runIn(shop, "evenpole", "record", "import", "list.csv", "--yes"); status != 0 {
		t.Fatal(said)
	}
	return shop
}

// sixStringOrder is an order in which nothing is wrong.
const sixStringOrder = `id = "H"
set = "light plain-third 10-46"
[instrument]
fretboard_radius_in = 12
string_spread_mm = 52
[pickup]
batch = "b"
poles = "rod"
pole_height_min_mm = 0
pole_height_max_mm = 2
pole_height_step_mm = 0.1
string_height_first_mm = 3
string_height_last_mm = 3
min_gap_mm = 0.5
[target]
tolerance_db = 3
`
