package main

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"evenpole/bench/rig"
	"evenpole/bench/truth"
)

// bench is a jig with the program, a shop that every case begins with, and what has come
// of the cases.
type bench struct {
	*rig.Bench
	shop  string
	files map[string]string // of the shop, by path in it

	failed                int // calls
	lost, accused, unable int
	wrecked, untold       int
	said                  []string // of the first that went wrong
}

// A command writes to a shop.
type command struct {
	name  string
	words func(shop string) []string
	good  []int // exit statuses of one that worked
	exact bool  // it adds the same rows each time, and none twice

	again int // exit status of the second time, where the first worked
	rows  int // of readings.csv after it
}

func (b *bench) path(name string) string { return filepath.Join(b.Dir, name) }

// of is a command of the program on a shop.
func (b *bench) of(shop string, words ...string) []string {
	return append(append([]string{b.Program}, words...), "--shop", shop)
}

// commands are those that are tried.
func (b *bench) commands() []command {
	on := func(words ...string) func(shop string) []string {
		return func(shop string) []string { return b.of(shop, words...) }
	}
	worked, verdicts := []int{0}, []int{0, 3, 4}
	return []command{
		{name: "capture", good: worked, words: func(shop string) []string { return b.Capture(shop, b.Port, b.path("C-3.toml"), "model", 1) }},
		{name: "import", good: worked, exact: true, words: on("record", "import", b.path("list.csv"), "--yes")},
		{name: "amend", good: worked, exact: true, words: on("record", "amend", "--session", "s001", "--mount", b.path("C-9.toml"))},
		{name: "retract", good: worked, exact: true, words: on("record", "retract", "--session", "s001")},
		{name: "seal", good: worked, exact: true, words: on("record", "seal")},
		{name: "fit", good: worked, exact: true, words: on("fit")},
		{name: "check", good: verdicts, exact: true, words: on("check", "--order", b.path("order.toml"), "--pickup", "C-2")},
	}
}

// another is a command that writes to whatever shop one of the commands left.
func (b *bench) another(shop string) []string {
	first := strings.Index(b.files["readings.csv"], ",C-2,")
	row := 1 + strings.Count(b.files["readings.csv"][:first], "\n")
	return b.of(shop, "record", "retract", "--row", strconv.Itoa(row))
}

// order is what the pickup C-2 was made for.
const order = `id = "F-1"
set = "light plain-third 10-46"
[instrument]
fretboard_radius_in = 12
string_spread_mm = 52
[pickup]
batch = "rig"
poles = "rod"
pole_height_min_mm = 0
pole_height_max_mm = 2
string_height_first_mm = 3
string_height_last_mm = 3
min_gap_mm = 0.5
[target]
tolerance_db = 3
`

// list is a person's list of readings.
const list = `pickup,string,core_mm,pole_height_mm,string_height_mm,rms_mv
L-1,1,0.25,1,3,11
L-1,2,0.33,1,3,12
L-1,3,0.43,1,3,13
`

// makeShop makes the shop that every case begins with: two pickups captured, and a model.
func (b *bench) makeShop() error {
	for _, pickup := range []string{"C-1", "C-2", "C-3", "C-9"} {
		if _, err := b.WriteMount(pickup); err != nil {
			return err
		}
	}
	for name, text := range map[string]string{"order.toml": order, "list.csv": list} {
		if err := os.WriteFile(b.path(name), []byte(text), 0o666); err != nil {
			return err
		}
	}
	b.shop = b.path("shop")
	for _, words := range [][]string{
		b.Capture(b.shop, b.Port, b.path("C-1.toml"), "model", 1),
		b.of(b.shop, "fit"),
		b.Capture(b.shop, b.Port, b.path("C-2.toml"), "check", 1),
	} {
		if r := ended(words); r.status != 0 {
			return fmt.Errorf("%v: status %d: %s", words[1:], r.status, r.said)
		}
	}
	b.files = map[string]string{}
	return fs.WalkDir(os.DirFS(b.shop), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !lasts(path) {
			return err
		}
		text, err := os.ReadFile(filepath.Join(b.shop, path))
		b.files[path] = string(text)
		return err
	})
}

// lasts tells whether a file of the shop may grow, but never loses what it says.
func lasts(path string) bool {
	return !strings.HasPrefix(path, "writer.") && !strings.HasSuffix(path, ".seals.csv") && filepath.Base(path) != "current.txt"
}

// copyShop copies a shop.
func (b *bench) copyShop(shop string) (dir string, err error) {
	if dir, err = os.MkdirTemp(b.Dir, "case-"); err != nil {
		return "", err
	}
	return dir, os.CopyFS(dir, os.DirFS(shop))
}

// rows counts the rows of readings.
func (b *bench) rows(shop string) (int, error) {
	rows, err := truth.Rows(shop)
	return len(rows), err
}
