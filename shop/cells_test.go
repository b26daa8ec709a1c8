package shop

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"evenpole/capture/record"
	"evenpole/capture/record/recordtest"
	"evenpole/fit/cell"
	"evenpole/fit/gain"
	"evenpole/fit/screen"
)

// weak is the sample record with one magnet of 83 mT in place of 121 mT, and what
// was probed of all magnets before they were built in.
func weak(t *testing.T, pickup string, str int) (readings []record.Reading, fields []record.FieldReading, magnets map[string][]string) {
	t.Helper()
	const strong, weak = 121.0, 83.0
	first := ""
	readings = slices.DeleteFunc(recordtest.Sample(t), func(r record.Reading) bool {
		if r.Pickup == pickup && first == "" {
			first = r.Session
		}
		return r.Pickup == pickup && r.Session != first
	})
	seen := map[string]bool{}
	magnets = map[string][]string{}
	for i := range readings {
		r := &readings[i]
		name := fmt.Sprintf("%s/%d", r.Pickup, r.String)
		mT := strong
		if r.Pickup == pickup && r.String == str {
			mT = weak
			if r.Mode == record.Pluck {
				v := math.Sqrt(max(0, r.RMS*r.RMS-r.Quiet*r.Quiet)) * math.Pow(weak/strong, 0.8)
				r.RMS, r.Peak = math.Hypot(v, r.Quiet), r.Peak*math.Pow(weak/strong, 0.8)
			}
		}
		if !seen[name] {
			seen[name] = true
			for len(magnets[r.Pickup]) < r.String {
				magnets[r.Pickup] = append(magnets[r.Pickup], fmt.Sprintf("%s/%d", r.Pickup, len(magnets[r.Pickup])+1))
			}
			fields = append(fields, record.FieldReading{Batch: r.Batch, Magnet: name, Field: mT, ProbeGap: 0.5})
		}
	}
	return readings, fields, magnets
}

// A magnet that is known to be weak is no mistake in a height: fields are in before
// the record is screened. Without them it looks like one.
func TestAWeakMagnetIsNoMistake(t *testing.T) {
	readings, fields, magnets := weak(t, "P2", 5)
	taken := func(s cell.Suspect) bool { return s.Kind == screen.DecimalPole }
	unknown, err := Cells(t.Context(), Source{Readings: recordtest.Rows(readings)})
	if err != nil || !slices.ContainsFunc(unknown.Suspects, taken) {
		t.Fatalf("not probed: %+v, %v", unknown.Suspects, err)
	}
	probed, err := Cells(t.Context(), Source{Readings: recordtest.Rows(readings), Fields: recordtest.Rows(fields), Magnets: magnets})
	if err != nil || slices.ContainsFunc(probed.Suspects, taken) {
		t.Errorf("probed: %+v, %v", probed.Suspects, err)
	}
	for _, c := range probed.Cells {
		if c.Pickup == "P2" && (c.Suspected() || !c.FieldKnown) {
			t.Errorf("%+v", c)
		}
	}
}

// Readings of several sources are corrected by their own gains, and their fields
// and magnets are taken together.
func TestCellsOfSeveralSources(t *testing.T) {
	all, fields, magnets := weak(t, "P2", 5)
	var sources []Source
	for _, p := range []string{"P1", "P2", "P3", "P4"} {
		other := func(r record.Reading) bool { return r.Pickup != p }
		sources = append(sources, Source{
			Readings: recordtest.Rows(slices.DeleteFunc(slices.Clone(all), other)),
			Fields:   recordtest.Rows(slices.DeleteFunc(slices.Clone(fields), func(f record.FieldReading) bool { return !strings.HasPrefix(f.Magnet, p) })),
			Magnets:  map[string][]string{p: magnets[p]},
		})
	}
	sources[0].Gains = gain.Book{{Jig: all[0].Jig, Gain: 2}}
	apart, err := Cells(t.Context(), sources...)
	if err != nil {
		t.Fatal(err)
	}
	together, err := Cells(t.Context(), Source{Readings: recordtest.Rows(all), Fields: recordtest.Rows(fields), Magnets: magnets})
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range apart.Cells {
		want := together.Cells[i]
		if c.Pickup == "P1" {
			want.Mean += math.Ln2
		}
		if math.Abs(c.Mean-want.Mean) > 1e-9 || c.Field != want.Field || !c.FieldKnown {
			t.Errorf("got %+v, want %+v", c, want)
		}
	}
}

// What a file has in it that cannot be read comes as it is, and so does a file that
// is not there.
func TestCellsOfFiles(t *testing.T) {
	dir := t.TempDir()
	good := recordtest.Path(t, "sample-shop", "readings.csv")
	if _, err := CellsOf(t.Context(), []string{good, filepath.Join(dir, "none.csv")}, ""); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
	if _, err := CellsOf(t.Context(), []string{good}, filepath.Join(dir, "none.csv")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no file of fields: %v", err)
	}
	bad := filepath.Join(dir, "calibrations", "a.toml")
	if err := Describe(bad, "gain = 1"); err != nil {
		t.Fatal(err)
	}
	if _, err := CellsOf(t.Context(), []string{good, filepath.Join(dir, "readings.csv")}, ""); !errors.As(err, new(*InputError)) || !strings.Contains(err.Error(), bad) {
		t.Errorf("a calibration that is none: %v", err)
	}
	beside, err := CellsOf(t.Context(), []string{good}, "")
	if err != nil || len(beside.Magnets) == 0 {
		t.Errorf("fields beside the readings: %v, %v", beside.Magnets, err)
	}
}
