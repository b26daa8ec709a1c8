package drift

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record"
)

// column reads one of a CSV file's columns.
func column(t *testing.T, file, name string) []float64 {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	j := slices.Index(rows[0], name)
	if j < 0 {
		t.Fatalf("%s: no column %q", file, name)
	}
	var out []float64
	for _, row := range rows[1:] {
		v, err := strconv.ParseFloat(row[j], 64)
		if err != nil {
			v = math.NaN()
		}
		out = append(out, v)
	}
	return out
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.8g, want %.8g within %g", what, got, want, tolerance)
	}
}

// TestConstants checks limits against the tables of control-chart constants
// (testdata/README.md): limits of a deviation of one.
func TestConstants(t *testing.T) {
	table := func(name string) []float64 { return column(t, "control_chart_constants.csv", name) }
	sizes, c4s, a3, b3, b4 := table("n"), table("c4_computed"), table("A3_computed"), table("B3_computed"), table("B4_computed")
	for i, size := range sizes {
		n := int(size)
		near(t, fmt.Sprint("c4 of ", n), c4(n), c4s[i], 1e-6)
		mean := c4(n) // of standard deviations, when the true one is 1
		near(t, fmt.Sprint("A3 of ", n), around(0, 1/math.Sqrt(size)).upper, a3[i]*mean, 2e-6)
		l := scatterLimits(1, n)
		near(t, fmt.Sprint("B3 of ", n), l.lower, b3[i]*mean, 2e-6)
		near(t, fmt.Sprint("B4 of ", n), l.upper, b4[i]*mean, 2e-6)
	}
	near(t, "d2", d2, table("d2_computed")[0], 1e-6)
	near(t, "d3", d3, table("d3_computed")[0], 1e-6)
	l := rangeLimits(1)
	near(t, "D3", l.lower, table("D3_published_rounded")[0], 0)
	near(t, "D4", l.upper/d2, table("D4_published_rounded")[0], 1e-3)
}

// series makes one of a value a day.
func series(x []float64) *Series {
	s := &Series{Subject: "test", Of: Level, ByDay: true}
	for i, v := range x {
		s.Values = append(s.Values, Value{fmt.Sprint(i + 1), time.Date(2026, 1, 1+i, 9, 0, 0, 0, time.UTC), v})
	}
	return s
}

// TestIndividuals: NIST/SEMATECH e-Handbook 6.3.2.2, flow rates of ten batches.
func TestIndividuals(t *testing.T) {
	c, err := Draw(series(column(t, "individuals_flowrate.csv", "x")), Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := column(t, "individuals_flowrate_expected.csv", "published")
	near(t, "centre", c.Centre, want[0], 1e-9)
	near(t, "moving range", c.Sigma*d2, want[1], 5e-5)
	value, ranges := c.Panels[0], c.Panels[1]
	if value.Name != Individuals || ranges.Name != MovingRange {
		t.Fatalf("panels %q and %q", value.Name, ranges.Name)
	}
	near(t, "upper", float64(value.Upper[0]), want[2], 2e-3) // published with d2 = 1.128
	near(t, "lower", float64(value.Lower[9]), want[3], 2e-3)
	near(t, "of the range", float64(ranges.Upper[1]), want[4], 2e-3)
	if c.State != InControl || len(c.Signals) != 0 {
		t.Errorf("%s, %v", c.State, c.Signals)
	}
}

// TestEWMA: NIST/SEMATECH e-Handbook 6.3.2.4, twenty values about a target of 50,
// all in control.
func TestEWMA(t *testing.T) {
	x := column(t, "ewma.csv", "x")
	parameters := column(t, "ewma_parameters.csv", "value") // target, sigma, lambda, L, limits
	sd := slices.Repeat(parameters[1:2], len(x))
	z, dev := ewma(x, sd, parameters[0], parameters[2])
	published, exact, upper := column(t, "ewma.csv", "ewma_published"), column(t, "ewma.csv", "ewma_recomputed"), column(t, "ewma.csv", "ucl_exact_time_varying")
	for i := range z {
		near(t, fmt.Sprint("average ", i+1), z[i], published[i], 0.0051)
		near(t, fmt.Sprint("average ", i+1), z[i], exact[i], 1e-7)
		l := around(parameters[0], dev[i])
		near(t, fmt.Sprint("limit ", i+1), l.upper, upper[i], 1e-6)
		if z[i] > l.upper || z[i] < l.lower {
			t.Errorf("value %d out of control", i+1)
		}
	}
	last := around(parameters[0], dev[len(dev)-1])
	near(t, "upper limit", last.upper, parameters[4], 1e-4)
	near(t, "lower limit", last.lower, parameters[5], 1e-4)
}

// TestChartsConstants works out what the charts with a memory show at their last
// point from the definitions, with the constants written out: each value weighs
// 0.2 x 0.8 to the power of its age; half a standard deviation is allowed.
func TestChartsConstants(t *testing.T) {
	x := shifted(24, 20, 2)
	c, err := Draw(series(x), Options{})
	if err != nil {
		t.Fatal(err)
	}
	last := len(x) - 1
	average, high := math.Pow(0.8, float64(len(x)))*c.Centre, 0.0
	for i, v := range x {
		average += 0.2 * math.Pow(0.8, float64(last-i)) * v
		high = max(0, high+(v-c.Centre)/c.Sigma-0.5)
	}
	limit := c.Centre + 3*c.Sigma*math.Sqrt(0.2/1.8*(1-math.Pow(0.8, 2*float64(len(x)))))
	for _, p := range c.Panels {
		switch p.Name {
		case EWMA:
			near(t, "average", float64(p.Values[last]), average, 1e-9)
			near(t, "its limit", float64(p.Upper[last]), limit, 1e-9)
		case CUSUM:
			near(t, "cumulative sum", float64(p.Values[last]), high, 1e-9)
			near(t, "its limit", float64(p.Upper[last]), 5, 0)
		}
	}
}

// TestCUSUM: NIST/SEMATECH e-Handbook 6.3.2.3, twenty means about 325 with k =
// 0.3175 and h = 4.1959; values and results from memory, each sum agreeing with
// those before it. It fires at the 14th.
func TestCUSUM(t *testing.T) {
	x := []float64{324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
		324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350}
	wantHigh := []float64{0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04}
	wantLow := []float64{0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0}
	high, low, since, _ := cusum(x, 325, 0.3175)
	for i := range x {
		near(t, fmt.Sprint("high ", i+1), high[i], wantHigh[i], 0.016)
		near(t, fmt.Sprint("low ", i+1), low[i], wantLow[i], 0.016)
	}
	if first := slices.IndexFunc(high, func(h float64) bool { return h > 4.1959 }); first != 13 || since[first] != 12 {
		t.Errorf("fires at %d, began at %d", first+1, since[first]+1)
	}
}

func TestRunRules(t *testing.T) {
	for _, c := range []struct {
		z    []float64
		rule int // -1: none
		side float64
	}{
		{[]float64{0, 3.1}, 0, 1},
		{[]float64{0, -3.1}, 0, -1},
		{[]float64{0, 3.0}, -1, 1},
		{[]float64{2.1, 0, 2.1}, 1, 1},
		{[]float64{-2.1, 0, 2.1}, -1, 1},
		{[]float64{2.1, 2.1}, -1, 1}, // not yet three
		{[]float64{2.1, 2.1, 0}, -1, 1},
		{[]float64{1.1, 1.1, 0.5, 1.1, 1.1}, 2, 1},
		{[]float64{-1.1, -1.1, 0.5, -1.1, -1.1}, 2, -1},
		{[]float64{1.1, 1.1, 0.5, 0.9, 1.1}, -1, 1},
		{[]float64{.1, .1, .1, .1, .1, .1, .1, .1}, 3, 1},
		{[]float64{.1, .1, .1, .1, 0, .1, .1, .1}, -1, 1},
	} {
		fired := slices.IndexFunc(runRules, func(r runRule) bool { return r.fires(c.z, c.side) })
		if fired != c.rule {
			t.Errorf("%v: rule %d fires, want %d", c.z, fired, c.rule)
		}
	}
}

// TestSubgroups computes a chart of means and standard deviations the long way.
func TestSubgroups(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	s := series(nil)
	var sumSD, sum float64
	for day := range 25 {
		var g []float64
		for k := range 4 {
			x := 20 + 0.1*rng.NormFloat64()
			if day == 23 {
				x += 0.5
			}
			g = append(g, x)
			s.Values = append(s.Values, Value{fmt.Sprint(day), time.Date(2026, 1, 1+day, 9+k, 0, 0, 0, time.UTC), x})
		}
		if day < 20 {
			mean := (g[0] + g[1] + g[2] + g[3]) / 4
			var squares float64
			for _, x := range g {
				squares += (x - mean) * (x - mean)
			}
			sum, sumSD = sum+mean, sumSD+math.Sqrt(squares/3)
		}
	}
	c, err := Draw(s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	a3, b4 := column(t, "control_chart_constants.csv", "A3_computed")[2], column(t, "control_chart_constants.csv", "B4_computed")[2]
	if c.Panels[0].Name != Mean || c.Panels[1].Name != Deviation || len(c.Points) != 25 || c.Points[3].N != 4 {
		t.Fatalf("%+v", c)
	}
	near(t, "upper", float64(c.Panels[0].Upper[7]), sum/20+a3*sumSD/20, 1e-6)
	near(t, "upper of the deviation", float64(c.Panels[1].Upper[7]), b4*sumSD/20, 1e-6)
	if c.State != OutOfControl {
		t.Errorf("state %q", c.State)
	}
	single, err := Draw(s, Options{Single: true})
	if err != nil {
		t.Fatal(err)
	}
	if single.Panels[0].Name != Individuals || len(single.Points) != 25 {
		t.Errorf("single values: %+v", single.Panels[0])
	}
}

// shifted draws noise of sigma 0.1 whose mean moves at a point.
func shifted(n, from int, by float64) []float64 {
	rng := rand.New(rand.NewPCG(2, 3))
	x := make([]float64, n)
	for i := range x {
		if x[i] = 30 + 0.1*rng.NormFloat64(); i >= from {
			x[i] += by
		}
	}
	return x
}

func TestShiftIsNamedAndDated(t *testing.T) {
	c, err := Draw(series(shifted(60, 40, 0.15)), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if c.State != OutOfControl {
		t.Fatalf("state %q", c.State)
	}
	i := slices.IndexFunc(c.Signals, func(s Signal) bool { return s.Panel == CUSUM && s.Side == "high" })
	if i < 0 {
		t.Fatalf("signals %+v", c.Signals)
	}
	s := c.Signals[i]
	if s.First < 40 || s.First > 52 || s.Time != c.Points[s.First].Time || s.Label != c.Points[s.First].Label {
		t.Errorf("fires at %d (%v)", s.First, s.Time)
	}
	if days := math.Abs(s.Began.Sub(c.Points[40].Time).Hours()) / 24; days > 4 {
		t.Errorf("began %v, truth %v", s.Began, c.Points[40].Time)
	}
	// what was put right since does not count, and the charts start anew
	x := shifted(60, 40, 0.15)
	for i := 50; i < 60; i++ {
		x[i] -= 0.15
	}
	since := c.Points[50].Time
	c, err = Draw(series(x), Options{Since: since})
	if err != nil {
		t.Fatal(err)
	}
	if c.State != InControl || len(c.Signals) == 0 {
		t.Errorf("since: %s with %d signals", c.State, len(c.Signals))
	}
	none, err := Draw(series(x), Options{Since: since.AddDate(1, 0, 0)})
	if err != nil || none.State != CannotTell {
		t.Errorf("no point since: %+v, %v", none, err)
	}
	near(t, "sum at the new start", float64(c.Panels[3].Values[50]), max(0, (x[50]-c.Centre)/c.Sigma-referenceValue), 1e-12)
}

// TestRunLengths measures how often a rule fires while nothing changes, centre and
// deviation known, of one chart alone and of all; the figure of package drift's comment.
func TestRunLengths(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 5))
	const charts, points = 60, 1000
	alarms := map[string]int{}
	for range charts {
		c := &Chart{Sigma: 1, Factor: decidingFactor(points)}
		for i := range points {
			c.Points = append(c.Points, Point{Time: time.Unix(int64(i), 0), Value: rng.NormFloat64()})
			c.sd = append(c.sd, 1)
		}
		c.individuals()
		c.average()
		c.sums()
		for _, s := range c.Signals {
			alarms["all"]++
			if s.Decides {
				alarms["deciding"]++
			}
			alarms[s.Rule]++
		}
	}
	per := func(n int) float64 { return charts * points / float64(n) }
	t.Logf("one alarm in %.0f points, in %.0f of those that decide; %v", per(alarms["all"]), per(alarms["deciding"]), alarms)
	// P(|z| > 3) = 0.0027; two such in a row, which are one alarm, are rare
	near(t, "one beyond", per(alarms[runRules[0].name]), 370, 60)
	near(t, "all", per(alarms["all"]), 37, 4)
	// a change that is imagined is seen by the moving average and the sum: two signals
	if got := per(alarms["deciding"]); got < 180 {
		t.Errorf("deciding: one in %.0f", got)
	}
}

// TestFalseAlarms measures how often an unchanged jig is called out of control, for
// baselines of any length, by all rules together: no oftener than one false alarm in 370
// points makes it, within 60 points and within a year of 250.
func TestFalseAlarms(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 7))
	const charts = 2500
	for _, baseline := range []int{10, 13, 20, 35, 60, 250} {
		for _, points := range []int{60, 250} {
			if points < baseline {
				continue
			}
			alarms := 0
			for range charts {
				x := make([]float64, points)
				for i := range x {
					x[i] = rng.NormFloat64()
				}
				c, err := Draw(series(x), Options{Baseline: baseline})
				if err != nil {
					t.Fatal(err)
				}
				if c.State == OutOfControl {
					alarms++
				}
			}
			most := 1 - math.Exp(-float64(points)/FalseAlarm)
			got, slack := float64(alarms)/charts, 4*math.Sqrt(most*(1-most)/charts)
			t.Logf("baseline %d: out of control within %d points with chance %.3f, %.3f at most", baseline, points, got, most)
			if got > most+slack {
				t.Errorf("baseline %d: out of control within %d points with chance %.3f, want %.3f at most", baseline, points, got, most)
			}
			if points == 60 && baseline <= 20 && got < most-slack-0.01 {
				t.Errorf("baseline %d: out of control within %d points with chance %.3f, limits lie farther out than they need", baseline, points, got)
			}
		}
	}
}

// Days of two sessions each are no oftener wrong.
func TestFalseAlarmsOfSubgroups(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 11))
	const charts, days = 2000, 60
	alarms := 0
	for range charts {
		s := series(nil)
		for day := range days {
			for k := range 2 {
				s.Values = append(s.Values, Value{fmt.Sprint(day), time.Date(2026, 1, 1+day, 9+k, 0, 0, 0, time.UTC), rng.NormFloat64()})
			}
		}
		c, err := Draw(s, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if c.State == OutOfControl {
			alarms++
		}
	}
	most := 1 - math.Exp(-days/float64(FalseAlarm))
	if got := float64(alarms) / charts; got > most+4*math.Sqrt(most*(1-most)/charts) {
		t.Errorf("out of control with chance %.3f, want %.3f at most", got, most)
	}
}

// A lasting shift of two deviations is called within a fortnight nearly always, in spite
// of limits that lie farther out.
func TestShiftsAreFound(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	const charts = 500
	found := 0
	for range charts {
		x := make([]float64, 40+14)
		for i := range x {
			if x[i] = rng.NormFloat64(); i >= 40 {
				x[i] += 2
			}
		}
		c, err := Draw(series(x), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if slices.ContainsFunc(c.Signals, func(s Signal) bool { return s.Decides && s.Through >= 40 && s.Side == "high" }) {
			found++
		}
	}
	if found < charts*9/10 {
		t.Errorf("%d of %d", found, charts)
	}
}

func TestDrawRefusesAndDoubts(t *testing.T) {
	no := (*NoSeries)(nil)
	if _, err := Draw(series(shifted(30, 30, 0)), Options{Baseline: 3}); !errors.As(err, &no) {
		t.Errorf("short baseline: %v", err)
	}
	if _, err := Draw(series(make([]float64, 30)), Options{}); !errors.As(err, &no) {
		t.Errorf("no scatter: %v", err)
	}
	for n := range leastPoints {
		c, err := Draw(series(shifted(n, n, 0)), Options{})
		if err != nil || c.State != CannotTell || len(c.Warnings) == 0 {
			t.Errorf("%d points: %+v, %v", n, c, err)
			continue
		}
		if _, err := json.Marshal(c); err != nil {
			t.Error(err)
		}
	}
	c, err := Draw(series(shifted(30, 5, 1)), Options{})
	if err != nil || !strings.Contains(strings.Join(c.Warnings, " "), "within the baseline") {
		t.Errorf("%q, %v", c.Warnings, err)
	}
}

// sessionRows is sessions of two strings, three takes each.
func sessionRows(purpose record.Purpose, sessions ...session) iter.Seq2[record.Reading, error] {
	return func(yield func(record.Reading, error) bool) {
		for n, s := range sessions {
			for i, db := range s.db {
				for k, off := range []float64{-0.2, 0, 0.2} {
					r := record.Reading{Time: s.at, Session: s.id, Purpose: purpose, Jig: "j", Boot: "0", Seq: uint32(n*100 + i*10 + k), HasSeq: true,
						Pickup: s.pickup, String: i + 1, Core: 0.3, Gauge: math.NaN(), PoleHeight: 0, StringHeight: 3, RMS: math.Pow(10, (db+off)/20), Quiet: math.NaN()}
					if !yield(r, nil) {
						return
					}
				}
			}
		}
	}
}

type session struct {
	id, pickup string
	at         time.Time
	db         []float64
}

func TestSeriesOfARecord(t *testing.T) {
	day := func(d int) time.Time { return time.Date(2026, 5, d, 8, 0, 0, 0, time.UTC) }
	sessions := []session{
		{"s2", "ref", day(2), []float64{21, 24}}, {"s1", "ref", day(1), []float64{20, 22}},
		{"s3", "other", day(3), []float64{1, 2}}, {"s4", "ref", day(4), []float64{20}}, {"s5", "ref", time.Time{}, []float64{20, 20}},
	}
	for of, want := range map[string][]float64{Level: {21, 22.5}, Spread: {2, 3}, "1": {-1, -1.5}} {
		s, err := Reference(sessionRows(record.ForRepeat, sessions...), "ref", of)
		if err != nil {
			t.Fatal(err)
		}
		if len(s.Values) != 2 || s.Values[0].Label != "s1" || len(s.Warnings) != 2 {
			t.Fatalf("%s: %+v", of, s)
		}
		for i, v := range s.Values {
			near(t, of, v.X, want[i], 1e-9)
		}
	}
	s, err := Reference(sessionRows(record.ForRepeat, sessions...), "ref", Scatter)
	if err != nil || !(s.Values[0].X > 0.15 && s.Values[0].X < 0.4) {
		t.Errorf("scatter %+v, %v", s, err)
	}
	s, err = Shipped(sessionRows(record.ForCheck, session{"c1", "B", day(5), []float64{0, 1}}, session{"c2", "A", day(6), []float64{0, 2}}, session{"c3", "B", day(7), []float64{0, 3}}), Spread)
	if err != nil || len(s.Values) != 2 || s.Values[0].Label != "A" || s.Values[1].Label != "B" {
		t.Fatalf("%+v, %v", s, err)
	}
	near(t, "latest of B", s.Values[1].X, 3, 1e-9)
	no := (*NoSeries)(nil)
	for _, of := range []string{"loudness", "0", "3"} {
		if _, err := Reference(sessionRows(record.ForRepeat, sessions...), "ref", of); !errors.As(err, &no) {
			t.Errorf("%s: %v", of, err)
		}
	}
	if _, err := Shipped(sessionRows(record.ForRepeat, sessions...), Spread); !errors.As(err, &no) {
		t.Errorf("none shipped: %v", err)
	}
}
