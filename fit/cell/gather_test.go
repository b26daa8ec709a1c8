package cell

import (
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/capture/record/recordtest"
	"evenpole/profiles"
)

// good is a take of string 1 with nothing missing.
func good() record.Reading {
	return record.Reading{
		Session: "s001", Jig: "j", Boot: "0000000A", Seq: 1, HasSeq: true, Pickup: "P", Batch: "M",
		String: 1, StringSet: "set", Core: 0.25, Gauge: 0.25, Wrap: "plain", PoleHeight: 1, StringHeight: 3,
		Mode: "P", RMS: 10, Freq: 330, Quiet: math.NaN(), Excite: "travel", Status: "ok", Line: 2,
	}
}

// with returns a copy that was changed.
func with(r record.Reading, change func(*record.Reading)) record.Reading {
	change(&r)
	return r
}

func (d *Data) leftOut(reason string) int {
	for _, l := range d.LeftOut {
		if l.Reason == reason {
			return l.Count
		}
	}
	return 0
}

// The counts are those that the record's description names, and those of a
// spreadsheet's filter on mode and status: 560 plucked rows are ok, of which two
// stand twice and three were taken back.
func TestGatherSampleRecord(t *testing.T) {
	d := gather(t, recordtest.Sample(t))
	if d.Readings != 712 || d.Used != 555 || len(d.Cells) != 60 {
		t.Errorf("got %d readings, %d used, %d cells; want 712, 555, 60", d.Readings, d.Used, len(d.Cells))
	}
	want := []LeftOut{
		{"clipped", 21, 0, 202}, {"double_strike", 8, 0, 122}, {isQuiet, 120, 0, 2},
		{string(record.Repeated), 2, 0, 709}, {string(record.TakenBack), 3, 0, 262}, {string(record.TakesBack), 3, 0, 711},
	}
	if !reflect.DeepEqual(d.LeftOut, want) {
		t.Errorf("left out: got %v, want %v", d.LeftOut, want)
	}
	if got := d.Pickups(); !slices.Equal(got, []string{"P1", "P2", "P3", "P4"}) {
		t.Errorf("pickups: got %v", got)
	}
	left := 0
	for _, l := range d.LeftOut {
		left += l.Count
	}
	if left+d.Used != d.Readings {
		t.Errorf("%d left out and %d used do not make %d", left, d.Used, d.Readings)
	}
}

func TestGatherTakesOffQuietPower(t *testing.T) {
	row := func(rms, quiet float64) record.Reading {
		return with(good(), func(r *record.Reading) { r.RMS, r.Quiet, r.HasSeq = rms, quiet, false })
	}
	d := gather(t, []record.Reading{row(5, 3)})
	if want := math.Log(4); math.Abs(d.Cells[0].Mean-want) > 1e-15 { // 5^2 - 3^2 = 4^2
		t.Errorf("got %g, want %g", d.Cells[0].Mean, want)
	}
	d = gather(t, []record.Reading{row(5, math.NaN())})
	if want := math.Log(5); math.Abs(d.Cells[0].Mean-want) > 1e-15 {
		t.Errorf("no quiet level: got %g, want %g", d.Cells[0].Mean, want)
	}
	d = gather(t, []record.Reading{row(3, 3), row(2, 3), row(0, 3), row(math.NaN(), 1), row(math.Inf(1), 1)})
	if len(d.Cells) != 0 || d.leftOut(isUnheard) != 2 || d.leftOut(lacksLevel) != 3 {
		t.Errorf("got %d cells, %v", len(d.Cells), d.LeftOut)
	}
}

func TestGatherLeavesOut(t *testing.T) {
	for _, c := range []struct {
		reason string
		change func(*record.Reading)
	}{
		{"fault", func(r *record.Reading) { r.Status = record.Faulty }},
		{"short_window", func(r *record.Reading) { r.Status = record.ShortWindow }},
		{isQuiet, func(r *record.Reading) { r.Mode = "Q" }},
		{lacksCell, func(r *record.Reading) { r.String = 0 }},
		{lacksCell, func(r *record.Reading) { r.Core = math.NaN() }},
		{lacksCell, func(r *record.Reading) { r.PoleHeight = math.NaN() }},
		{lacksCell, func(r *record.Reading) { r.StringHeight = math.NaN() }},
		{isImpossible, func(r *record.Reading) { r.PoleHeight = 9.4 }},
		{isImpossible, func(r *record.Reading) { r.StringHeight = 49.9 }},
		{isImpossible, func(r *record.Reading) { r.Core, r.Gauge = 0.01, 0.01 }},
		{isImpossible, func(r *record.Reading) { r.Gauge = 0.2 }},
	} {
		d := gather(t, []record.Reading{with(good(), c.change)})
		if len(d.Cells) != 0 || d.leftOut(c.reason) != 1 {
			t.Errorf("want left out as %q, got %d cells, %v", c.reason, len(d.Cells), d.LeftOut)
		}
	}
}

func TestGatherCountsAReadingOnce(t *testing.T) {
	one := good()
	two := with(one, func(r *record.Reading) { r.Seq, r.RMS = 2, 20 })
	otherBoot := with(one, func(r *record.Reading) { r.Boot = "0000000B" })
	noBoot := with(one, func(r *record.Reading) { r.Boot = "" })
	back := with(two, func(r *record.Reading) { r.Status = record.Retracted })

	d := gather(t, []record.Reading{one, two, one}, []record.Reading{two, otherBoot})
	if d.Used != 3 || d.leftOut(string(record.Repeated)) != 2 {
		t.Errorf("the same reading in two files: got %d used, %v", d.Used, d.LeftOut)
	}
	d = gather(t, []record.Reading{noBoot, noBoot})
	if d.Used != 2 {
		t.Errorf("rows without boot have no identity: got %d used, want 2", d.Used)
	}
	for name, files := range map[string][][]record.Reading{
		"after":              {{one, two, back}},
		"in another file":    {{one, two}, {back}},
		"before, in another": {{back}, {one, two}},
	} {
		d := gather(t, files...)
		if d.Used != 1 || math.Abs(d.Cells[0].Mean-math.Log(10)) > 1e-15 || d.leftOut(string(record.TakenBack)) != 1 {
			t.Errorf("taken back %s: got %d used, %v", name, d.Used, d.LeftOut)
		}
	}
	if d := gather(t, []record.Reading{two, back}); len(d.Cells) != 0 {
		t.Error("the only take was taken back: want no cell")
	}
}

func TestGatherFillsInWhatASpreadsheetLeavesOut(t *testing.T) {
	for _, c := range []struct {
		name        string
		wrap        profiles.Wrap
		core, gauge float64
		wantWrap    profiles.Wrap
		wantGauge   float64
	}{
		{"core alone", "", 0.3, math.NaN(), "plain", 0.3},
		{"gauge equals core", "", 0.3, 0.3, "plain", 0.3},
		{"gauge above core", "", 0.3, 0.6, "wound", 0.6},
		{"plain without gauge", "plain", 0.3, math.NaN(), "plain", 0.3},
		{"wound without gauge", "nickel", 0.3, math.NaN(), "nickel", 0},
		{"all given", "nickel", 0.3, 0.6, "nickel", 0.6},
		{"spelt otherwise", "Nickel-plated steel", 0.3, 0.6, "nickel_plated_steel", 0.6},
		{"plain spelt otherwise", "Plain steel", 0.3, math.NaN(), "plain", 0.3},
		{"of the user's own", "Steel", 0.3, 0.6, "Steel", 0.6},
	} {
		d := gather(t, []record.Reading{{String: 1, Core: c.core, Gauge: c.gauge, Wrap: c.wrap, PoleHeight: 1, StringHeight: 3, RMS: 10, Quiet: math.NaN(), Freq: math.NaN()}})
		if len(d.Cells) != 1 {
			t.Errorf("%s: got %d cells, %v", c.name, len(d.Cells), d.LeftOut)
			continue
		}
		if got := d.Cells[0]; got.Wrap != c.wantWrap || got.Gauge != c.wantGauge || got.Pickup != "" || got.Mode != "P" || got.Freq != 0 {
			t.Errorf("%s: got %+v", c.name, got)
		}
	}
}

func TestGatherTellsCellsApart(t *testing.T) {
	one := good()
	changes := map[string]func(*record.Reading){
		"pickup":        func(r *record.Reading) { r.Pickup = "Q" },
		"session":       func(r *record.Reading) { r.Session = "s002" },
		"string":        func(r *record.Reading) { r.String = 2 },
		"core":          func(r *record.Reading) { r.Core = 0.24; r.Wrap = "nickel" },
		"set":           func(r *record.Reading) { r.StringSet = "other" },
		"pole height":   func(r *record.Reading) { r.PoleHeight = 1.1 },
		"string height": func(r *record.Reading) { r.StringHeight = 3.1 },
		"mode":          func(r *record.Reading) { r.Mode = "D" },
		"excitation":    func(r *record.Reading) { r.Excite = "force" },
	}
	for name, change := range changes {
		other := with(one, func(r *record.Reading) { r.Seq = 2; change(r) })
		if d := gather(t, []record.Reading{one, other}); len(d.Cells) != 2 {
			t.Errorf("another %s: got %d cells, want 2", name, len(d.Cells))
		}
	}
	again := with(one, func(r *record.Reading) { r.Seq, r.Batch, r.RMS = 2, "", 11 })
	d := gather(t, []record.Reading{one, again})
	if len(d.Cells) != 1 || d.Cells[0].Takes != 2 || d.Cells[0].Batch != "M" {
		t.Errorf("two takes of one cell: got %+v", d.Cells)
	}
}

func TestGatherKeepsUnnamedPickupsOfFilesApart(t *testing.T) {
	row := with(good(), func(r *record.Reading) { r.Pickup, r.Boot = "", "" })
	d := gather(t, []record.Reading{row, row}, []record.Reading{row})
	if got := d.Pickups(); !slices.Equal(got, []string{"file 1", "file 2"}) {
		t.Errorf("got %v", got)
	}
}

func TestGatherDoesNotMindTheOrder(t *testing.T) {
	rows := recordtest.Sample(t)
	want := gather(t, rows)
	rng := rand.New(rand.NewPCG(5, 5))
	// Rows that stand twice are equal; which of them counts changes the lines only.
	rng.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
	got := gather(t, rows)
	if got.Fingerprint() != want.Fingerprint() {
		t.Error("the fingerprint changed with the order of rows")
	}
	if got.Used != want.Used || len(got.LeftOut) != len(want.LeftOut) {
		t.Errorf("got %d used, %v; want %d, %v", got.Used, got.LeftOut, want.Used, want.LeftOut)
	}
	if i := slices.IndexFunc(rows, func(r record.Reading) bool { return r.Mode == "P" && r.Status == "ok" }); i >= 0 {
		rows[i].RMS *= 1.01
	}
	if gather(t, rows).Fingerprint() == want.Fingerprint() {
		t.Error("another level, the same fingerprint")
	}
}

func TestGatherKeepsABoundedNumberOfTakes(t *testing.T) {
	var rows []record.Reading
	for i := range mostTakes + 50 {
		rows = append(rows, with(good(), func(r *record.Reading) { r.Seq, r.Line = uint32(i+1), 2*i+2 }))
	}
	d := gather(t, rows)
	if c := d.Cells[0]; c.Takes != mostTakes || len(c.Rows) > mostTakes || int(c.Rows[len(c.Rows)-1].Last) != rows[len(rows)-1].Line {
		t.Errorf("got %d takes, %d spans to line %d", c.Takes, len(c.Rows), c.Rows[len(c.Rows)-1].Last)
	}
	if d.leftOut(isUnneeded) != 50 {
		t.Errorf("left out: %v", d.LeftOut)
	}
}

func TestCellKnowsItsFirstGoodTake(t *testing.T) {
	at := func(text string) time.Time {
		when, err := time.Parse(time.RFC3339, text)
		if err != nil {
			t.Fatal(err)
		}
		return when
	}
	row := record.Reading{String: 1, Core: 0.25, PoleHeight: 1, StringHeight: 3, RMS: 20}
	later, first, flagged := row, row, row
	later.Time, first.Time = at("2026-02-03T09:00:00Z"), at("2026-02-03T10:30:00+02:00")
	flagged.Time, flagged.Status = at("2026-02-03T08:00:00Z"), record.Clipped
	d := gather(t, []record.Reading{flagged, later, row, first})
	if want := at("2026-02-03T08:30:00Z"); len(d.Cells) != 1 || d.Cells[0].First.Time() != want.UTC() {
		t.Errorf("got %+v, want one cell whose first take was at %v", d.Cells, want)
	}
	if c := gather(t, []record.Reading{row}).Cells[0]; !c.First.IsZero() {
		t.Errorf("no time was told: got %v", c.First)
	}
}

// The first time of a cell is not that of a take that was taken back.
func TestCellForgetsTheTimeOfWhatWasTakenBack(t *testing.T) {
	early := with(good(), func(r *record.Reading) { r.Time = time.Date(2026, 2, 3, 8, 0, 0, 0, time.UTC) })
	late := with(good(), func(r *record.Reading) { r.Seq, r.Time = 2, early.Time.Add(time.Hour) })
	back := with(early, func(r *record.Reading) { r.Status = record.Retracted })
	d := gather(t, []record.Reading{early, late, back})
	if len(d.Cells) != 1 || d.Cells[0].First != InstantOf(late.Time) {
		t.Errorf("got %+v, want one cell from %v on", d.Cells, late.Time)
	}
}

// What was filed anew counts as it was filed anew.
func TestGatherTakesWhatWasFiledAnew(t *testing.T) {
	one := good()
	back := with(one, func(r *record.Reading) { r.Status, r.Line = record.Retracted, 3 })
	anew := with(one, func(r *record.Reading) { r.PoleHeight, r.Batch, r.Line = 1.25, "N", 4 })
	also := with(anew, func(r *record.Reading) { r.Seq, r.Line = 9, 5 })
	d := gather(t, []record.Reading{one, back, anew, also})
	if len(d.Cells) != 1 || d.Cells[0].PoleHeight != 1.25 || d.Cells[0].Takes != 2 || d.Cells[0].Batch != "N" || d.leftOut(string(record.TakenBack)) != 1 {
		t.Errorf("got %+v, left out %+v", d.Cells, d.LeftOut)
	}
}

func TestCellNamesItsLines(t *testing.T) {
	var rows []record.Reading
	for i, line := range []int{4, 5, 6, 9} {
		rows = append(rows, with(good(), func(r *record.Reading) { r.Line, r.Seq = line, uint32(i) }))
	}
	rows[1].Status = record.Clipped // a flagged take does not break the run
	second := with(good(), func(r *record.Reading) { r.Line, r.Seq = 10, 9 })
	d := gather(t, rows, []record.Reading{second})
	if got := d.Cells[0].Lines(); got != "4-6, 9, 10 of file 2" {
		t.Errorf("got %q", got)
	}
}

func TestGatherReturnsTheReadersError(t *testing.T) {
	want := errors.New("readings.csv:7: core_mm: expected a number")
	_, err := Gather(func(yield func(record.Reading, error) bool) {
		if yield(good(), nil) {
			yield(record.Reading{}, want)
		}
	})
	if err != want {
		t.Errorf("got %v, want %v", err, want)
	}
}
