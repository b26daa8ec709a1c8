package screen

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"testing"

	"evenpole/capture/record"
	"evenpole/capture/record/recordtest"
	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// seededSlip is one of the mistakes that were made in testdata/slips on purpose.
type seededSlip struct {
	Kind    string          `json:"kind"`
	Pickup  string          `json:"pickup"`
	String  json.RawMessage `json:"string"` // a number, a list, or null for all
	Columns []string        `json:"columns"`
	Rows    [][2]int32      `json:"rows"`
}

func (s *seededSlip) strings(t *testing.T) []int {
	t.Helper()
	var one int
	var many []int
	if string(s.String) == "null" {
		return nil
	}
	if json.Unmarshal(s.String, &one) == nil {
		return []int{one}
	}
	if err := json.Unmarshal(s.String, &many); err != nil {
		t.Fatal(err)
	}
	return many
}

func readFile(t testing.TB, path ...string) []byte {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(path...))
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// share is how much of some rows is among others.
func share(of [][2]int32, among []cell.Span) float64 {
	var in, all float64
	for _, r := range of {
		for line := r[0]; line <= r[1]; line++ {
			all++
			if slices.ContainsFunc(among, func(s cell.Span) bool { return s.First <= line && line <= s.Last }) {
				in++
			}
		}
	}
	return in / all
}

func mustScreen(t testing.TB, d *cell.Data) []cell.Suspect {
	t.Helper()
	found, err := Screen(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	return found
}

func TestScreenEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if found, err := Screen(ctx, celltest.Sample(t)); !errors.Is(err, context.Canceled) || found != nil {
		t.Errorf("got %v, %v", found, err)
	}
}

// Every mistake is named with its kind, pickup, strings and rows, and nothing else
// is found.
func TestScreenFindsSeededSlips(t *testing.T) {
	d := celltest.File(t, "slips", "readings.csv")
	var slips []seededSlip
	if err := json.Unmarshal(readFile(t, recordtest.Path(t, "slips", "slips.json")), &slips); err != nil {
		t.Fatal(err)
	}
	found := mustScreen(t, d)
	if len(slips) != 13 || len(found) != len(slips) {
		t.Errorf("found %d mistakes of %d", len(found), len(slips))
	}
	for _, s := range slips {
		k := slices.IndexFunc(found, func(f cell.Suspect) bool { return f.Kind == s.Kind && share(s.Rows, f.Rows) > 0.9 })
		if k < 0 {
			t.Errorf("%s of %s in lines %v: not found", s.Kind, s.Pickup, s.Rows)
			continue
		}
		f := found[k]
		if f.Pickup != s.Pickup || !slices.Equal(f.Strings, s.strings(t)) || !slices.Equal(f.Columns, s.Columns) {
			t.Errorf("%s: got pickup %s, strings %v, columns %v; want %s, %s, %v", s.Kind, f.Pickup, f.Strings, f.Columns, s.Pickup, s.String, s.Columns)
		}
		own := [][2]int32{}
		for _, r := range f.Rows {
			own = append(own, [2]int32{r.First, r.Last})
		}
		var seeded []cell.Span
		for _, r := range s.Rows {
			seeded = append(seeded, cell.Span{First: r[0], Last: r[1]})
		}
		if share(own, seeded) < 0.9 {
			t.Errorf("%s: lines %v, want %v", s.Kind, f.Rows, s.Rows)
		}
	}
	for i := range d.Cells {
		c := &d.Cells[i]
		touched := slices.ContainsFunc(found, func(f cell.Suspect) bool {
			return c.Session == f.Session && share([][2]int32{{c.Rows[0].First, c.Rows[0].First}}, f.Rows) > 0
		})
		if c.Weight < 1 && !touched || !(c.Weight > 0) {
			t.Errorf("%s %s string %d: weight %g, touched %v", c.Pickup, c.Session, c.String, c.Weight, touched)
		}
		for _, f := range found {
			whole := c.Session == f.Session && len(f.Strings) == 0 && f.Kind != PickupMixedUp
			if named := c.Session == f.Session && c.Pickup == f.Pickup && slices.Contains(f.Strings, c.String); (named || whole) && c.Weight == 1 {
				t.Errorf("%s %s string %d counts in full under %s", c.Pickup, c.Session, c.String, f.Kind)
			}
		}
	}
}

// With two coils a cell's pole height is worked out and typed by nobody: no slip of a key is
// looked for in it, but where it cannot be.
func TestScreenTakesNoWorkedOutHeightForASlip(t *testing.T) {
	d := celltest.File(t, "slips", "readings.csv")
	for i := range d.Cells {
		d.Cells[i].Remount(func(m *cell.Mounting) { m.Under = profiles.Under("").TwoCoils() })
	}
	for _, f := range mustScreen(t, d) {
		cannotBe := f.Session == "s017" // 9.4 mm
		if !cannotBe && slices.Contains(f.Columns, "pole_height_mm") && (f.Kind == DecimalPole || f.Kind == InchesTyped || f.Kind == SwappedPoles) {
			t.Errorf("%s, %s: %s: %s", f.Pickup, f.Session, f.Kind, f.Cause)
		}
	}
}

func TestScreenLeavesACleanRecordAlone(t *testing.T) {
	d := celltest.File(t, "sample-shop", "readings.csv")
	if found := mustScreen(t, d); len(found) > 0 {
		t.Errorf("got %+v", found)
	}
	for i := range d.Cells {
		if d.Cells[i].Weight != 1 {
			t.Errorf("cell %d: weight %g", i, d.Cells[i].Weight)
		}
	}
}

// A record that says nothing, or the same all over, makes neither panic nor
// nonsense.
func TestScreenOfDegenerateRecords(t *testing.T) {
	full := recordtest.Sample(t)
	changed := func(change func(r *record.Reading)) []record.Reading {
		rows := slices.Clone(full)
		for i := range rows {
			change(&rows[i])
		}
		return rows
	}
	for name, rows := range map[string][]record.Reading{
		"nothing":             nil,
		"one cell":            full[:10],
		"one take":            {celltest.Good(nil)},
		"all levels the same": changed(func(r *record.Reading) { r.RMS, r.Peak = 10, 40 }),
		"all at quiet level":  changed(func(r *record.Reading) { r.RMS = r.Quiet }),
		"no level":            changed(func(r *record.Reading) { r.RMS = math.NaN() }),
		"no length possible":  changed(func(r *record.Reading) { r.PoleHeight += 30 }),
		"all of one height":   changed(func(r *record.Reading) { r.PoleHeight, r.StringHeight = 0, 3 }),
		"no names":            changed(func(r *record.Reading) { r.Session, r.Pickup, r.StringSet = "", "", "" }),
		"levels beyond reason": changed(func(r *record.Reading) {
			r.RMS *= math.Exp(float64(r.String * 40))
		}),
	} {
		d := celltest.Gather(t, rows)
		for _, f := range mustScreen(t, d) {
			if !solve.Finite(f.Evidence) || f.Cause == "" || len(f.Rows) == 0 {
				t.Errorf("%s: %+v", name, f)
			}
			if _, err := json.Marshal(f); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
		for i := range d.Cells {
			if w := d.Cells[i].Weight; !(w > 0 && w <= 1) {
				t.Errorf("%s: weight %g", name, w)
			}
		}
	}
}

// The same record leads to the same bytes on any number of cores.
func TestScreenOnAnyNumberOfCores(t *testing.T) {
	on := func(cores int) *cell.Data {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
		d := celltest.File(t, "slips", "readings.csv")
		mustScreen(t, d)
		return d
	}
	if one, many := on(1), on(5); !reflect.DeepEqual(one, many) {
		t.Errorf("on one core %+v, on several %+v", one.Suspects, many.Suspects)
	}
}
