package batch

import (
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"evenpole/capture/record"
	"evenpole/fit/field"
)

// sample is the record of the sample shop.
func sample(t *testing.T) *Record {
	t.Helper()
	f, err := os.Open("../../testdata/sample-shop/fields.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := Read(record.Fields(f, "fields.csv"))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// readingsOf yields field readings with a seq and a line each, as a jig's record
// has them.
func readingsOf(rows ...record.FieldReading) iter.Seq2[record.FieldReading, error] {
	return func(yield func(record.FieldReading, error) bool) {
		for i, f := range rows {
			if f.Seq == 0 {
				f.Seq = uint32(i + 1)
			}
			f.HasSeq, f.Jig, f.Boot, f.Line = true, "j", "0000000A", i+2
			if !yield(f, nil) {
				return
			}
		}
	}
}

// take is a good take of a loose magnet.
func take(session, magnet string, mt, gap float64) record.FieldReading {
	return record.FieldReading{Session: session, Batch: "gale", Magnet: magnet, Position: 1, Field: mt, ProbeGap: gap, Status: record.OK}
}

// recordOf reads readings.
func recordOf(t *testing.T, rows ...record.FieldReading) *Record {
	t.Helper()
	r, err := Read(readingsOf(rows...))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// characterise is what is known of batch gale.
func characterise(t *testing.T, o Options, rows ...record.FieldReading) *Report {
	t.Helper()
	report, err := recordOf(t, rows...).Characterise("gale", o)
	if err != nil {
		t.Fatal(err)
	}
	return report
}

// Means and standard deviations of the sample, worked out apart from this program
// with the statistics of Python's standard library: mean of the magnets' means,
// their standard deviation, that of a take, and that from magnet to magnet with
// half of a take's variance taken off.
func TestSampleFigures(t *testing.T) {
	r := sample(t)
	for name, want := range map[string][4]float64{
		"M-01": {235.7883333333333, 8.892186259328366, 2.1433475893771594, 8.762077780192536},
		"M-02": {285.8230555555555, 11.558473863601346, 2.0059515613959094, 11.471111420530363},
		"M-03": {380.5761111111111, 18.583539566252103, 3.7742931641419815, 18.390902597915442},
		"M-04": {293.36777777777775, 9.273640255841878, 2.664962997450022, 9.080164629888717},
	} {
		got, err := r.Characterise(name, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if got.Count != 18 || got.Takes != 36 || got.Gap != 0.5 || got.Reference != "M-01" || len(got.Others) != 3 {
			t.Errorf("%s: got %+v", name, got)
		}
		s := got.Scatter
		for i, x := range []float64{got.Mean, s.Observed, float64(s.Take), s.Magnets} {
			near(t, name, x, want[i], 1e-12)
		}
		if got.Decision != nil || got.Scatter.Placing.Known() || len(got.Reversed) != 0 {
			t.Errorf("%s: a decision without limits, or a placing or a pole that was not measured: %+v", name, got)
		}
		near(t, "measurement", float64(s.Measurement), float64(s.Take)/math.Sqrt2, 1e-12)
		near(t, "tolerance", got.Tolerance.High-got.Mean, got.Tolerance.K*s.Observed, 1e-12)
	}
	if r.Newest() != "M-04" || !slices.Equal(r.Batches(), []string{"M-01", "M-02", "M-03", "M-04"}) {
		t.Errorf("batches: got %v", r.Batches())
	}
}

func TestSampleWarnsOfPoles(t *testing.T) {
	got, err := sample(t).Characterise("M-03", Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(strings.Join(got.Warnings, "\n"), "the other pole up than those of the reference batch") {
		t.Errorf("M-03 reads negative where M-01 reads positive; warnings: %q", got.Warnings)
	}
}

func TestRowsThatDoNotCount(t *testing.T) {
	twice := take("s1", "a", 999, 0.5)
	twice.Seq = 1
	flagged := take("s1", "a", 999, 0.5)
	flagged.Status = record.Faulty
	pickup := take("s1", "a", 999, 0.5)
	pickup.Pickup = "P"
	nameless := take("s1", "", 999, 0.5)
	nameless.Position = 0
	stray := take("s1", "a", 999, 0.5)
	stray.Batch = ""
	back := take("s1", "a", 999, 0.5)
	back.Status, back.Seq = record.Retracted, 9
	slip := take("s1", "b", 999, 0.5)
	slip.Seq = 9
	got := characterise(t, Options{}, take("s1", "a", 200, 0.5), twice, flagged, pickup, nameless, stray,
		take("s1", "a", math.NaN(), 0.5), back, slip, take("s1", "b", 210, 0.5))
	if got.Count != 2 || got.Takes != 2 || got.Mean != 205 {
		t.Errorf("got %d magnets, %d takes, mean %g", got.Count, got.Takes, got.Mean)
	}
	left := map[string]int{}
	for _, l := range got.LeftOut {
		left[l.Reason] = l.Count
	}
	for _, reason := range []string{string(record.Repeated), "fault", inPickup, lacksMagnet, lacksBatch, lacksField, string(record.TakesBack), string(record.TakenBack)} {
		if left[reason] != 1 {
			t.Errorf("left out as %q: %d, want 1", reason, left[reason])
		}
	}
}

func TestMagnetsWithoutNames(t *testing.T) {
	one, two := take("s1", "", 200, 0.5), take("s1", "", 210, 0.5)
	two.Position = 2
	later := take("s2", "", 220, 0.5)
	got := characterise(t, Options{}, one, two, later)
	if got.Count != 3 || got.Magnets[2].Name != "s2 position 1" {
		t.Errorf("got %+v", got.Magnets)
	}
}

func TestReversedMagnet(t *testing.T) {
	got := characterise(t, Options{}, take("s", "a", -200, 0.5), take("s", "b", 204, 0.5), take("s", "c", -202, 0.5), take("s", "c", -202, 0.5))
	if !slices.Equal(got.Reversed, []string{"b"}) || !got.Magnets[1].Reversed || got.Mean != 202 {
		t.Errorf("got %q, mean %g", got.Reversed, got.Mean)
	}
	even := characterise(t, Options{}, take("s", "a", -200, 0.5), take("s", "b", 204, 0.5))
	if len(even.Reversed) != 0 || !strings.Contains(even.Warnings[0], "as many magnets") {
		t.Errorf("one of each: got %q, %q", even.Reversed, even.Warnings)
	}
	faint := characterise(t, Options{}, take("s", "a", 120, 0.5), take("s", "b", -1, 0.5), take("s", "b", 0.5, 0.5), take("s", "c", 122, 0.5), take("s", "d", 121, 0.5))
	if len(faint.Reversed) != 0 || !strings.Contains(strings.Join(faint.Warnings, "\n"), "magnet b reads -0.2 mT, less than 20 % of what is usual in the batch: demagnetised") || strings.Contains(strings.Join(faint.Warnings, "\n"), "do not agree") {
		t.Errorf("demagnetised: got %q, %q", faint.Reversed, faint.Warnings)
	}
	torn := characterise(t, Options{}, take("s", "a", 200, 0.5), take("s", "a", -190, 0.5), take("s", "b", 204, 0.5))
	if !strings.Contains(torn.Warnings[0], "magnet a: its takes do not agree") {
		t.Errorf("got %q", torn.Warnings)
	}
}

// A rod's readings at two gaps are one strength when its size is known, and are
// never mixed when it is not.
func TestGaps(t *testing.T) {
	rod := field.Rod{Radius: 2.38, Length: 16.5, Remanence: 1.1}
	at := func(gap float64) float64 { return 1000 * rod.OnAxis(gap) }
	rows := []record.FieldReading{
		take("s", "a", at(0.5), 0.5), take("s", "b", at(0.5), 0.5), take("s", "b", at(1.2), 1.2), take("s", "c", at(2), 2),
	}
	got := characterise(t, Options{Rods: map[string]field.Rod{"gale": rod}}, rows...)
	for _, m := range got.Magnets {
		near(t, m.Name, m.Field, at(0.5), 1e-12)
	}
	got = characterise(t, Options{Gap: 1, Rods: map[string]field.Rod{"gale": rod}}, rows...)
	near(t, "at 1 mm", got.Mean, at(1), 1e-12)
	for want, o := range map[string]Options{"at a probe gap of 1.2 mm cannot be mixed with those at 0.5 mm": {}, "0.5 mm cannot be mixed with those at 1 mm": {Gap: 1}} {
		if _, err := recordOf(t, rows...).Characterise("gale", o); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %q", err, want)
		}
	}
	inInches := characterise(t, Options{Gap: 0.508}, take("s", "a", 200, 0.5), take("s", "b", 210, 0.5), take("s", "c", 205, 0.5))
	if inInches.Mean != 205 || inInches.Gap != 0.508 {
		t.Errorf("0.5 mm is no 0.020 in: %v at %v", inInches.Mean, inInches.Gap)
	}
	silent := []record.FieldReading{take("s", "a", 200, math.NaN()), take("s", "b", 210, math.NaN())}
	if got := characterise(t, Options{}, silent...); got.Gap.Known() || got.Mean != 205 {
		t.Errorf("readings without a gap: got %v", got.Gap)
	}
	if _, err := recordOf(t, append(silent, rows[0])...).Characterise("gale", Options{}); err == nil || !strings.Contains(err.Error(), "readings that do not say their probe gap cannot be mixed") {
		t.Errorf("got %v", err)
	}
}

// With magnets placed more than once, what differs between placings counts as
// measurement; the truth comes back.
func TestPlacings(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	var rows []record.FieldReading
	for i := range 400 {
		strength := 240 + 8*r.NormFloat64()
		for s := range 2 {
			placed := strength + 4*r.NormFloat64()
			for range 3 {
				rows = append(rows, take(fmt.Sprintf("s%d", s), fmt.Sprint(i), placed+2*r.NormFloat64(), 0.5))
			}
		}
	}
	s := characterise(t, Options{}, rows...).Scatter
	near(t, "magnets", s.Magnets, 8, 0.1)
	near(t, "placings", float64(s.Placing), 4, 0.1)
	near(t, "takes", float64(s.Take), 2, 0.05)
	near(t, "measurement", float64(s.Measurement), math.Sqrt((16+4.0/3)/2), 0.1)
}

// Several placings of one take each tell the measurement, though not its parts.
func TestPlacingsOfOneTake(t *testing.T) {
	got := characterise(t, Options{}, take("s1", "a", 200, 0.5), take("s2", "a", 202, 0.5), take("s1", "b", 220, 0.5), take("s2", "b", 222, 0.5))
	s := got.Scatter
	if s.Take.Known() || len(got.Warnings) != 0 {
		t.Errorf("take %v, warnings %q, want none", s.Take, got.Warnings)
	}
	near(t, "placing", float64(s.Placing), math.Sqrt2, 1e-12)
	near(t, "measurement", float64(s.Measurement), 1, 1e-12)
}

func TestDriftIsWarnedOf(t *testing.T) {
	var rows []record.FieldReading
	for i := range 12 {
		rows = append(rows, take("s", fmt.Sprint(i), 200+float64(i+i%2), 0.5))
	}
	got := characterise(t, Options{}, rows...)
	if !got.Trend.Drifts || !strings.Contains(strings.Join(got.Warnings, "\n"), "measure the first magnets again") {
		t.Errorf("got %+v, %q", got.Trend, got.Warnings)
	}
}

func TestSuspicions(t *testing.T) {
	r := rand.New(rand.NewPCG(23, 24))
	var moved, slots, once []record.FieldReading
	for i := range 12 {
		x := 240 + 5*r.NormFloat64()
		f := take("s1", fmt.Sprint(i), x, 0.5)
		once = append(once, f)
		moved = append(moved, f, take("s2", fmt.Sprint(i), 0.97*x+0.5*r.NormFloat64(), 0.5))
		f.Position = i%3 + 1
		if f.Position == 3 {
			f.Field *= 0.85
		}
		slots = append(slots, f)
	}
	for want, rows := range map[string][]record.FieldReading{
		"session s2 reads -3.": moved, "goes with the probe's position": slots, "one take a magnet": once,
	} {
		if got := characterise(t, Options{}, rows...).Warnings; !strings.Contains(strings.Join(got, "\n"), want) {
			t.Errorf("warnings %q lack %q", got, want)
		}
	}
}

func TestOneMagnet(t *testing.T) {
	low := 100.0
	got := characterise(t, Options{Limits: Limits{Min: &low}}, take("s", "a", 200, 0.5))
	if got.Scatter != nil || got.Tolerance != nil || got.Decision.Answer != MeasureMore || got.Decision.Outside.Known() {
		t.Errorf("got %+v", got)
	}
	if _, err := json.Marshal(got); err != nil {
		t.Error(err)
	}
	if !strings.Contains(got.Decision.Sentence(), "cannot be estimated from fewer than 3") {
		t.Errorf("sentence: %s", got.Decision.Sentence())
	}
}

// Magnets that all read the same leave nothing that JSON cannot hold.
func TestEqualMagnets(t *testing.T) {
	var rows []record.FieldReading
	low := 100.0
	for i := range 12 {
		rows = append(rows, take("s", fmt.Sprint(i), 200, 0.5), take("s", fmt.Sprint(i), 200, 0.5))
	}
	got := characterise(t, Options{Limits: Limits{Min: &low}}, rows...)
	if _, err := json.Marshal(got); err != nil {
		t.Error(err)
	}
	if got.Scatter.Magnets != 0 || got.Decision.Answer != MeasureMore {
		t.Errorf("got %+v, %s; equal readings look copied and decide nothing", got.Scatter, got.Decision.Answer)
	}
	if d := got.Decision; d.Likely != d.AtMost || d.Outside.Known() || !strings.Contains(d.Sentence(), "all read the same") {
		t.Errorf("got %+v: nothing tells how many more would do", d)
	}
	if !strings.Contains(strings.Join(got.Warnings, "\n"), "all 12 magnets read the same") {
		t.Errorf("warnings %q", got.Warnings)
	}
}

// The mean's interval is as wide as wanted with the magnets asked for.
func TestMoreForMean(t *testing.T) {
	got, err := sample(t).Characterise("M-01", Options{Within: 0.005})
	if err != nil {
		t.Fatal(err)
	}
	n := 18 + *got.ForMean
	wanted := 0.005 * got.Mean
	if meanHalfWidth(n, got.Scatter.Observed, 0.95) > wanted || meanHalfWidth(n-1, got.Scatter.Observed, 0.95) <= wanted {
		t.Errorf("%d magnets are not the fewest that will do", n)
	}
}

func TestRefusals(t *testing.T) {
	low, high, none := 120.0, 100.0, math.NaN()
	rows := []record.FieldReading{take("s", "a", 200, 0.5), take("s", "b", 210, 0.5)}
	for want, o := range map[string]Options{
		`reference batch "breeze"`:              {Reference: "breeze"},
		"expected the least below the most":     {Limits: Limits{&low, &high}},
		"expected a strength":                   {Limits: Limits{Min: &none}},
		"share: expected between 0 and 100 %":   {Share: 1},
		"confidence: expected":                  {Confidence: -0.5},
		"risks and shares":                      {Risks: Risks{Consumer: 0.7}},
		"acceptable share beyond the limits":    {Risks: Risks{Acceptable: 0.2}},
		"probe gap: expected":                   {Gap: math.Inf(1)},
		`rod of batch "gale"`:                   {Rods: map[string]field.Rod{"gale": {Radius: -1}}},
		"it would take more than 5000 magnets":  {Limits: Limits{Min: &high}, Risks: Risks{Acceptable: 0.01, Limiting: 0.0101}},
		"half-width of the mean's interval: ex": {Within: 2},
	} {
		var r *Refusal
		if _, err := recordOf(t, rows...).Characterise("gale", o); !errors.As(err, &r) || !strings.Contains(r.Msg, want) {
			t.Errorf("got %v, want %q", err, want)
		}
	}
	if _, err := recordOf(t, rows...).Characterise("breeze", Options{}); err == nil || !strings.Contains(err.Error(), `there are of "gale"`) {
		t.Errorf("got %v", err)
	}
	if _, err := recordOf(t).Characterise("", Options{}); err == nil || !strings.Contains(err.Error(), "no field reading") {
		t.Errorf("got %v", err)
	}
	if _, err := recordOf(t, take("s", "a", 0, 0.5)).Characterise("gale", Options{}); err == nil || !strings.Contains(err.Error(), "nothing was under the probe") {
		t.Errorf("got %v", err)
	}
	broken := errors.New("no disk")
	if _, err := Read(func(yield func(record.FieldReading, error) bool) { yield(record.FieldReading{}, broken) }); !errors.Is(err, broken) {
		t.Errorf("got %v, want the reader's error", err)
	}
}
