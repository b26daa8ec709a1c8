package plan

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"evenpole/fit/level"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

func made(t *testing.T, o *profiles.Order, m bench, opt Options) *Plan {
	t.Helper()
	p, err := Make(t.Context(), o, m, opt)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// usual is an order for six strings over an arc with a stagger to compare, and
// a predictor for it.
func usual() (*profiles.Order, bench) {
	o := order(6, 2.6, 0.05)
	o.FretboardRadius, o.MinGap, o.StringHeightLast = 241.3, 1.2, 3.4
	o.Compare = []profiles.Stagger{{Name: "what came with it", Heights: []float64{0.4, 0.8, 1.9, 1.4, 0.9, 0.5}}}
	m := falloff([]float64{0, 0.3, 2.6, -0.4, 0.2, 0.8})
	m.cov = correlated(6)
	m.cov.ScaleSym(1/(level.PerLn*level.PerLn), m.cov)
	m.warnings = []string{"wrap never measured"}
	return o, m
}

// newJobOf is a job for white box tests.
func newJobOf(t *testing.T, o *profiles.Order, m bench) *job {
	t.Helper()
	j, err := newJob(t.Context(), o, m, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return j
}

// Every stagger of ours keeps the limits, whatever they are.
func TestLimitsHold(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 1))
	for range 100 {
		n := 1 + r.IntN(12)
		o := order(n, 0.5+2*r.Float64(), 0.05)
		o.FretboardRadius = 180 + 200*r.Float64()
		o.PoleHeightMin = -0.3 * r.Float64()
		o.MinGap = 3 * r.Float64()
		p := made(t, o, falloff(randoms(r, n, 2)), certain)
		for _, s := range [][]float64{p.Heights, p.Flat.Heights, p.Radius.Heights} {
			for i, h := range s {
				step := (h - o.PoleHeightMin) / 0.05
				if h < o.PoleHeightMin-lengthTolerance || h > o.PoleHeightMax+lengthTolerance || math.Abs(step-math.Round(step)) > 1e-4 {
					t.Fatalf("height %g is not on the grid from %g to %g", h, o.PoleHeightMin, o.PoleHeightMax)
				}
				if gap := o.StringHeights()[i] - h; gap < o.MinGap-1e-6 {
					t.Fatalf("gap %g under %g", gap, o.MinGap)
				}
			}
		}
	}
}

func TestGrid(t *testing.T) {
	for _, c := range []struct {
		name           string
		min, max, step float64
		stock, want    []float64
	}{
		{"steps from the lowest", 0.1, 0.45, 0.1, nil, []float64{0.1, 0.2, 0.3, 0.4}},
		{"both ends", 0, 0.15, 0.05, nil, []float64{0, 0.05, 0.1, 0.15}},
		{"below the plane", -0.2, 0, 0.1, nil, []float64{-0.2, -0.1, 0}},
		{"stock within the limits", 0.5, 1.5, 0, []float64{2, 1.5, 0.5, 1, 1, 0}, []float64{0.5, 1, 1.5}},
		{"stock goes before step", 0, 2, 0.05, []float64{0, 1}, []float64{0, 1}},
	} {
		o := &profiles.Order{PoleHeightMin: c.min, PoleHeightMax: c.max, PoleHeightStep: c.step, PoleHeights: c.stock}
		if got := grid(o); !slices.Equal(got, c.want) {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
}

// Stock lengths only: the plan uses them and no others, and the least spread
// among them is found by hand: 1, 2 and 3 dB with 1 dB/mm meet at 3 dB.
func TestStockLengths(t *testing.T) {
	o := order(3, 2.5, 0)
	o.PoleHeights = []float64{0, 1, 2, 2.2}
	p := made(t, o, line([]float64{1, 2, 3}, []float64{1, 1, 1}), certain)
	if want := []float64{2, 1, 0}; !slices.Equal(p.Heights, want) {
		t.Errorf("got %v, want %v", p.Heights, want)
	}
}

// Wanted offsets are reached: string 1 is to be 1 dB over string 2.
func TestOffsets(t *testing.T) {
	o := order(2, 2.5, 0.05)
	o.Offset = []float64{0.5, -0.5}
	p := made(t, o, line([]float64{0, 0}, []float64{2, 2}), certain)
	closeTo(t, "balance 1", p.Balance[0], 0.5, 1e-9)
	closeTo(t, "deviation 1", p.Deviation[0], 0, 1e-9)
	closeTo(t, "spread", p.Spread, 0, 1e-6)
	if want := []float64{0.5, 0}; !slices.Equal(p.Heights, want) {
		t.Errorf("got %v, want %v: the lowest poles that are 1 dB apart", p.Heights, want)
	}
}

// A balance has no mean, and so the same offset on every string asks for nothing: the
// plan is that of no offsets.
func TestOffsetsAreCentred(t *testing.T) {
	o, m := usual()
	plain := made(t, o, m, Options{})
	o.Offset = []float64{2, 2, 2, 2, 2, 2}
	lifted := made(t, o, m, Options{})
	if !slices.Equal(lifted.Heights, plain.Heights) || lifted.Advice != plain.Advice || lifted.Meets != plain.Meets || !slices.Equal(lifted.Deviation, plain.Deviation) {
		t.Errorf("got %q, heights %v, meets %g; want %q, %v, %g as without offsets", lifted.Advice, lifted.Heights, lifted.Meets, plain.Advice, plain.Heights, plain.Meets)
	}
}

// The string's swing is kept free beside the least gap, wherever poles stand.
func TestSwingIsKeptFree(t *testing.T) {
	o := order(3, 2.5, 0.05)
	o.MinGap, o.StringSwing = 1.2, 0.5
	p := made(t, o, line([]float64{0, 9, 0}, []float64{2, 2, 2}), Options{})
	for _, s := range p.Staggers() {
		closeTo(t, s.Name+": least gap", max(slices.Min(s.Gaps), 1.7), slices.Min(s.Gaps), 1e-9)
	}
	closeTo(t, "highest pole", slices.Max(p.Heights), 1.3, 1e-9)
}

// The order's setting error counts, unless the shop sets another.
func TestOrderedSettingError(t *testing.T) {
	o := order(2, 0, 0.05)
	m := line([]float64{0, 0}, []float64{2, 2})
	o.SettingError = 0.2
	// Two poles of 0.2 mm at 2 dB a mm: the spread is |N(0, 0.4·√2)|, of mean 0.8/√π.
	closeTo(t, "the order's", made(t, o, m, Options{}).Spread, 0.8/math.Sqrt(math.Pi), 0.005)
	closeTo(t, "the shop's", made(t, o, m, Options{SettingSD: 0.1}).Spread, 0.4/math.Sqrt(math.Pi), 0.005)
}

func TestOneString(t *testing.T) {
	p := made(t, order(1, 2, 0.05), line([]float64{3}, []float64{1}).independent(0.5), Options{})
	if p.Heights[0] != 0 || p.Balance[0] != 0 || p.Spread != 0 || p.Meets != 1 || p.Advice != FlatIsEnough {
		t.Errorf("one string is always in balance: got %+v", p)
	}
}

// Judging every common height in full finds none that serves better, but for
// what the choice by a part of the points may cost.
func TestFlatIsTheBestOfAllHeights(t *testing.T) {
	for _, third := range []float64{0.6, 2.6} {
		o, m := usual()
		m.curve = falloff([]float64{0, 0.3, third, -0.4, 0.2, 0.8}).curve
		j := newJobOf(t, o, m)
		least := math.Inf(1)
		for _, h := range j.limits.common() {
			got, err := j.forecast(slices.Repeat([]float64{h}, 6))
			if err != nil {
				t.Fatal(err)
			}
			least = min(least, got.Spread)
		}
		if p := made(t, o, m, Options{}); p.Flat.Spread > least+0.002 {
			t.Errorf("flat at %g has a spread of %g, the best has %g", p.Flat.Height, p.Flat.Spread, least)
		}
	}
}

// The string with the least room, whichever it is, cuts off the common heights;
// the best of many may lie between those that are looked at first.
func TestFlatLooksEverywhere(t *testing.T) {
	o := order(3, 2.5, 0.05)
	o.StringHeightLast = 2 // leaves 1 mm under string 3
	p := made(t, o, line([]float64{0, 0, 3}, []float64{2, 2, 1}), certain)
	closeTo(t, "lowest string", p.Flat.Height, 1, 1e-9)

	for _, meet := range []float64{0.35, 0.45, 0.55, 0.6} { // mm, where strings of 2 and of 4 dB a mm are alike
		o := order(2, 2, 0.05)
		p := made(t, o, line([]float64{2 * meet, 0}, []float64{2, 4}), certain)
		closeTo(t, "where they meet", p.Flat.Height, meet, 1e-9)
	}
}

// Strings of one height and one slope are apart by as much at any height: the
// lowest is taken.
func TestFlatTiesGoLow(t *testing.T) {
	p := made(t, order(4, 2, 0.05), line([]float64{0, 1, 0, 1}, []float64{2, 2, 2, 2}), Options{})
	if p.Flat.Height != 0 {
		t.Errorf("got %g mm, want 0", p.Flat.Height)
	}
}

// The arc over 241.3 mm at the six strings of a 52 mm spread rises by
// 241.3 - sqrt(241.3² - x²): with the outer strings level, 0.90 mm for strings 2
// and 5 and 1.35 mm for 3 and 4, to the nearest step.
func TestRadius(t *testing.T) {
	o, m := usual()
	o.StringHeightLast = o.StringHeightFirst
	p := made(t, o, m, Options{})
	if want := []float64{0, 0.9, 1.35, 1.35, 0.9, 0}; !slices.Equal(p.Radius.Heights, want) {
		t.Errorf("got %v, want %v", p.Radius.Heights, want)
	}
	for _, g := range p.Radius.Gaps {
		closeTo(t, "gap", g, p.Radius.Gaps[0], 0.026)
	}
	o.PoleHeightMax = 1
	if want := []float64{0, 0.9, 1, 1, 0.9, 0}; !slices.Equal(made(t, o, m, Options{}).Radius.Heights, want) {
		t.Errorf("the highest pole allowed is 1 mm, want %v", want)
	}
}

func TestPlanHasLeastSpreadOfAll(t *testing.T) {
	o, m := usual()
	p := made(t, o, m, Options{})
	spread := func(j Forecast) float64 { return slices.Max(j.Deviation) - slices.Min(j.Deviation) }
	for _, other := range []Forecast{p.Flat.Forecast, p.Radius, p.Compare[0].Forecast} {
		if spread(other) <= spread(p.Forecast) {
			t.Errorf("%v has less spread than the plan %v", other.Heights, p.Heights)
		}
	}
	best, err := newJobOf(t, o, m).forecast(p.Best)
	if err != nil {
		t.Fatal(err)
	}
	if step := 0.5 * slices.Max(p.Slope); spread(best) > step {
		t.Errorf("the best stagger's spread is %.3f dB, more than a step of 0.05 mm is worth: %.3f", spread(best), step)
	}
}

func TestAdvice(t *testing.T) {
	for _, c := range []struct {
		name      string
		base      []float64
		sd        float64
		top       float64
		tolerance float64
		want      Advice
	}{
		{"equal strings, little doubt", []float64{0, 0, 0}, 0.2, 2, 1, FlatIsEnough},
		{"equal strings, much doubt", []float64{0, 0, 0}, 2, 2, 1, UseStagger},
		{"3 dB apart", []float64{0, 3, 0}, 0.2, 2, 1, UseStagger},
		{"3 dB apart, 1 dB to be had", []float64{0, 3, 0}, 0.2, 0.5, 0.5, NotReachable},
		{"3 dB apart, wide tolerance", []float64{0, 3, 0}, 0.2, 0.5, 3, FlatIsEnough},
	} {
		o := order(3, c.top, 0.05)
		o.Tolerance = c.tolerance
		p := made(t, o, line(c.base, []float64{2, 2, 2}).independent(c.sd, c.sd, c.sd), Options{})
		if p.Advice != c.want {
			t.Errorf("%s: got %q (meets %.2f, flat %.2f), want %q", c.name, p.Advice, p.Meets, p.Flat.Meets, c.want)
		}
	}
}

func TestWarnings(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(o *profiles.Order, m *bench)
		want   string
	}{
		{"the model's own", func(o *profiles.Order, m *bench) {}, "wrap never measured"},
		{"estimated core", func(o *profiles.Order, m *bench) {
			o.Strings[3].Note, o.Strings[3].CoreEstimated = "D3", true
			o.Strings[5].CoreEstimated = true
		}, "core estimated from the gauge: string 4 (D3), string 6; measure the bare core"},
		{"own wrap", func(o *profiles.Order, m *bench) { o.Strings[2].Wrap = "xyzzy" }, `wrap "xyzzy" is none that the handbook knows`},
		{"own wrap of an alternative", func(o *profiles.Order, m *bench) {
			o.Alternatives = []profiles.StringSet{{Name: "other", Strings: slices.Clone(o.Strings)}}
			o.Alternatives[0].Strings[2].Wrap = "steel"
		}, `wrap "steel" is none that the handbook knows`},
		{"offsets off centre", func(o *profiles.Order, m *bench) { o.Offset[0] = 3 }, "offset_db averages +0.5 dB; balances have no mean"},
		{"highest pole", func(o *profiles.Order, m *bench) { o.PoleHeightMax = 0.2 }, "string 4: pole_height_max_mm keeps its pole at 0.20 mm; about "},
		{"lowest pole", func(o *profiles.Order, m *bench) { o.PoleHeightMax = 0.2 }, "string 3: pole_height_min_mm keeps its pole at 0.00 mm; about "},
		{"gap", func(o *profiles.Order, m *bench) { o.MinGap = 2.6; m.curve = lone(0, -4) }, "string 1: min_gap_mm keeps its pole at 0.40 mm; about "},
		{"stock", func(o *profiles.Order, m *bench) { o.PoleHeights = []float64{0.2, 0.4} }, "string 3: the lowest of pole_heights_mm keeps its pole at 0.20 mm; about "},
		{"highest stock", func(o *profiles.Order, m *bench) { o.PoleHeights = []float64{0.2, 0.4} }, "string 4: the highest of pole_heights_mm keeps its pole at 0.40 mm; about "},
		{"out of reach", func(o *profiles.Order, m *bench) { o.PoleHeightMax = 0.2 }, "no stagger within the limits is expected to keep every string within 1 dB: string 3 at +"},
		{"poor chance", func(o *profiles.Order, m *bench) { o.Tolerance = 0.2 }, "readings of more test pickups and matched magnets raise it"},
		{"poor chance by the limits", func(o *profiles.Order, m *bench) { o.PoleHeightMax = 0.5 }, " %: the limits leave string 3 at +1.0 dB"},
		{"compared stagger too high", func(o *profiles.Order, m *bench) { o.PoleHeightMax = 1.8 }, `compare "what came with it": string 3: 1.90 mm is above pole_height_max_mm, 1.80 mm`},
		{"compared stagger above the stock", func(o *profiles.Order, m *bench) {
			o.PoleHeights, o.PoleHeightMin, o.PoleHeightMax = []float64{0.4, 0.9, 1.7}, 0.4, 1.7
		}, `compare "what came with it": string 3: 1.90 mm is above the highest of pole_heights_mm, 1.70 mm`},
		{"compared stagger too low", func(o *profiles.Order, m *bench) { o.PoleHeightMin = 0.45 }, `compare "what came with it": string 1: 0.40 mm is below pole_height_min_mm, 0.45 mm`},
		{"compared stagger too close", func(o *profiles.Order, m *bench) { o.MinGap = 2.65 }, `compare "what came with it": string 1: a gap of 2.60 mm is less than min_gap_mm of 2.65 mm`},
	} {
		o, m := usual()
		c.change(o, &m)
		p := made(t, o, m, Options{})
		if !slices.ContainsFunc(p.Warnings, func(w string) bool { return strings.Contains(w, c.want) }) {
			t.Errorf("%s: no warning with %q in\n%s", c.name, c.want, strings.Join(p.Warnings, "\n"))
		}
	}
}

// lone is a curve with one string off the others by base.
func lone(string int, base float64) func(i int, h float64) float64 {
	b := make([]float64, 12)
	b[string] = base
	return falloff(b).curve
}

// An order that fits, with nothing uncertain, gives no cause for a warning.
func TestNoNeedlessWarnings(t *testing.T) {
	o, m := usual()
	m.warnings, o.Tolerance = nil, 2
	if p := made(t, o, m, Options{}); len(p.Warnings) != 0 {
		t.Errorf("got %q", p.Warnings)
	}
}

func TestErrors(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(o *profiles.Order, m *bench)
		opt    Options
		want   string
	}{
		{"no room", func(o *profiles.Order, m *bench) { o.Strings[0].Note, o.PoleHeightMin, o.MinGap = "E4", 0.5, 2.8 }, Options{},
			"order.toml: string 1 (E4): no pole height is allowed: the string at 3.00 mm less min_gap_mm of 2.80 mm leaves at most 0.20 mm, and pole_height_min_mm is 0.50 mm; raise the string by 0.30 mm"},
		{"no room, in inches", func(o *profiles.Order, m *bench) { o.Units, o.PoleHeightMin, o.MinGap = profiles.Inches, 0.5, 2.8 }, Options{},
			"string 1: no pole height is allowed: the string at 3.00 mm less min_gap_in of 2.80 mm leaves at most 0.20 mm, and pole_height_min_in is 0.50 mm"},
		{"no room for stock", func(o *profiles.Order, m *bench) { o.PoleHeights, o.MinGap = []float64{1, 2}, 2.5 }, Options{},
			"string 1: no pole height is allowed: the string at 3.00 mm less min_gap_mm of 2.50 mm leaves at most 0.50 mm, and the lowest of pole_heights_mm is 1.00 mm"},
		{"no stock within limits", func(o *profiles.Order, m *bench) { o.PoleHeights = []float64{4} }, Options{}, "none of pole_heights_mm, [4] mm, lies from 0.00 to 2.60 mm"},
		{"no strings", func(o *profiles.Order, m *bench) { o.Strings = nil }, Options{}, "expected at least one string"},
		{"13 strings", func(o *profiles.Order, m *bench) { o.Strings = make([]profiles.String, 13) }, Options{}, "expected at most 12 strings, got 13"},
		{"offsets", func(o *profiles.Order, m *bench) { o.Offset = []float64{1} }, Options{}, "offset_db: expected 6 values, one a string, got 1"},
		{"no step and no stock", func(o *profiles.Order, m *bench) { o.PoleHeightStep = 0 }, Options{}, "expected one of pole_height_step_mm, pole_heights_mm and pole_heights_fixed_mm, got none"},
		{"tolerance", func(o *profiles.Order, m *bench) { o.Tolerance = 0 }, Options{}, "tolerance_db: expected more than 0, got 0"},
		{"setting error", func(o *profiles.Order, m *bench) {}, Options{SettingSD: -1}, "setting error: expected more than 0 mm, got -1"},
		{"draws", func(o *profiles.Order, m *bench) {}, Options{Draws: -1}, "draws: expected at least 1, got -1"},
		{"compare of another length", func(o *profiles.Order, m *bench) { o.Compare[0].Heights = []float64{1} }, Options{}, `compare "what came with it": expected 6 heights, one a string, got 1`},
		{"compare reaches the string", func(o *profiles.Order, m *bench) { o.Compare[0].Heights[0] = 3 }, Options{}, `compare "what came with it": string 1: a pole of 3.00 mm reaches the string at 3.00 mm`},
		{"no level", func(o *profiles.Order, m *bench) {
			m.curve = func(i int, h float64) float64 { return math.Log(1 - h) }
		}, Options{}, "string 1: the model predicts no level for a pole of 1.00 mm"},
		{"no level outside the limits", func(o *profiles.Order, m *bench) {
			o.PoleHeightMax = 1
			m.curve = func(i int, h float64) float64 { return math.Log(1.5 - h) }
		}, Options{}, `compare "what came with it": string 3: the model predicts no level for a pole of 1.90 mm`},
		{"uncertainty", func(o *profiles.Order, m *bench) { m.cov = mat.NewSymDense(6, nil); m.cov.SetSym(1, 1, math.NaN()) }, Options{}, "is not a number"},
	} {
		o, m := usual()
		c.change(o, &m)
		if _, err := Make(t.Context(), o, m, c.opt); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got error %v, want %q", c.name, err, c.want)
		}
	}
}

// The document has the names that scripts rely on, and lists where there is
// nothing to list.
func TestDocument(t *testing.T) {
	o, m := usual()
	o.Compare, m.warnings, o.Tolerance = nil, nil, 5
	text, err := json.Marshal(made(t, o, m, Options{}))
	if err != nil {
		t.Fatal(err)
	}
	var top map[string]json.RawMessage
	if err := json.Unmarshal(text, &top); err != nil {
		t.Fatal(err)
	}
	figures := []string{"heights_mm", "level_mv", "balance_db", "deviation_db", "spread_db", "spread_db_95", "meets"}
	for _, name := range append(figures, "source", "flat", "radius", "compare", "advice", "warnings") {
		if top[name] == nil {
			t.Errorf("no %q", name)
		}
	}
	for _, name := range []string{"flat", "radius"} {
		var inner map[string]json.RawMessage
		if err := json.Unmarshal(top[name], &inner); err != nil {
			t.Fatal(err)
		}
		for _, f := range figures {
			if inner[f] == nil {
				t.Errorf("no %q in %q", f, name)
			}
		}
	}
	for name, want := range map[string]string{"compare": "[]", "warnings": "[]", "source": `"shop data"`, "advice": `"flat is enough"`} {
		if string(top[name]) != want {
			t.Errorf("%s: got %s, want %s", name, top[name], want)
		}
	}
}

func TestSameBytesEveryTime(t *testing.T) {
	o, m := usual()
	document := func() []byte {
		text, err := json.Marshal(made(t, o, m, Options{}))
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	if first := document(); !bytes.Equal(first, document()) {
		t.Error("two plans of one order differ")
	}
}

// The order is read only.
func TestOrderIsLeftAlone(t *testing.T) {
	o, m := usual()
	o.PoleHeights = []float64{1, 0, 0.5}
	before, _ := json.Marshal(o)
	made(t, o, m, Options{})
	if after, _ := json.Marshal(o); !bytes.Equal(before, after) {
		t.Errorf("was %s, is %s", before, after)
	}
}

func TestCautions(t *testing.T) {
	for kind, want := range map[profiles.PoleKind]string{
		profiles.Rod: "never press, pull or hammer", profiles.Slug: "never press or hammer", profiles.Screw: "turn screws",
	} {
		all := strings.Join(Cautions(kind), "\n")
		if !strings.Contains(all, want) || !strings.Contains(all, "pacemakers") {
			t.Errorf("%s: got %q", kind, all)
		}
	}
}

func BenchmarkMake(b *testing.B) {
	for _, n := range []int{6, 12} {
		for name, hears := range map[string]float64{"apart": 0, "neighbours": -0.02} {
			b.Run(fmt.Sprintf("%s/%d", name, n), func(b *testing.B) {
				r := rand.New(rand.NewPCG(9, 9))
				o := order(n, 2.6, 0.05)
				m := falloff(randoms(r, n, 1))
				m.hears, m.cov = hears, correlated(n)
				m.cov.ScaleSym(1/(level.PerLn*level.PerLn), m.cov)
				for b.Loop() {
					if _, err := Make(b.Context(), o, m, Options{}); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
