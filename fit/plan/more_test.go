package plan

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// Equal strings within a hair of each other need no stagger; the plan says what
// that costs.
func TestSimplerIsPreferred(t *testing.T) {
	o := order(4, 2, 0.05)
	m := line([]float64{0, 0.15, 0, 0}, []float64{2, 2, 2, 2}).independent(0.5, 0.5, 0.5, 0.5)
	p := made(t, o, m, Options{})
	if !slices.Equal(p.Heights, p.Flat.Heights) {
		t.Errorf("0.15 dB apart: got %v, want flat", p.Heights)
	}
	if p.Cost <= 0 || p.Cost > alike {
		t.Errorf("flat costs %.4f dB, want more than nothing and at most %g", p.Cost, alike)
	}

	m = line([]float64{0, 3, 3.05, 0.08}, []float64{2, 2, 2, 2}).independent(0.5, 0.5, 0.5, 0.5)
	p = made(t, o, m, Options{})
	heights := slices.Clone(p.Heights)
	slices.Sort(heights)
	if n := len(slices.Compact(heights)); n != 2 || p.Heights[1] != p.Heights[2] || p.Heights[0] != p.Heights[3] {
		t.Errorf("two pairs: got %v, want two heights", p.Heights)
	}
}

// What the simplest stagger gives away is what the judgements of both say.
func TestCostOfSimplicity(t *testing.T) {
	r := rand.New(rand.NewPCG(12, 1))
	simpler := 0
	for range 30 {
		o, m := doubtful(r, 6, 2.6, 0.05)
		j := newJobOf(t, o, m)
		p := made(t, o, m, Options{})
		best, err := j.judge(p.Best)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(p.Best, p.Heights) {
			simpler++
		}
		closeTo(t, "cost", p.Worst-best.Worst, p.Cost, 0.015)
		if p.Worst > best.Worst+alike+0.015 {
			t.Errorf("%v is %.4f dB off, %v %.4f", p.Heights, p.Worst, p.Best, best.Worst)
		}
	}
	if simpler == 0 {
		t.Error("no stagger was made simpler: nothing was tested")
	}
}

// Two string sets that want the second pole 1 mm apart: the plan stands between,
// and shows both.
func TestWorstSetDecides(t *testing.T) {
	o := order(2, 2, 0.05)
	louder := slices.Clone(o.Strings)
	louder[1].Gauge *= math.Pow(10, 2.0/20) // 2 dB
	o.Alternatives = []profiles.StringSet{{Name: "louder", Strings: louder}}
	m := line([]float64{0, -2}, []float64{2, 2}).independent(0.2, 0.2)
	m.steel = true
	p := made(t, o, m, Options{})
	if got := p.Heights[1] - p.Heights[0]; math.Abs(got-0.5) > 0.051 {
		t.Errorf("got %v, want pole 2 half a millimetre over pole 1", p.Heights)
	}
	if len(p.Sets) != 1 || p.Sets[0].Name != "louder" || len(p.Flat.Sets) != 1 || len(p.Radius.Sets) != 1 {
		t.Errorf("sets: got %+v", p.Sets)
	}
	closeTo(t, "own", p.Deviation[1], -0.5, 0.06)
	closeTo(t, "alternative", p.Sets[0].Deviation[1], 0.5, 0.06)
	closeTo(t, "worst", p.MostWorst(), max(p.Worst, p.Sets[0].Worst), 0)

	// What is out of tolerance under an alternative is out of reach.
	o.Tolerance = 0.4
	p = made(t, o, m, Options{})
	if p.Advice != NotReachable || !warned(p, `string 2 at +0.50 dB with "louder"`) {
		t.Errorf("got %q, %q", p.Advice, p.Warnings)
	}
}

func warned(p *Plan, want string) bool {
	return slices.ContainsFunc(p.Warnings, func(w string) bool { return strings.Contains(w, want) })
}

// Flat tops must serve under every set before they are advised.
func TestFlatIsEnoughUnderEverySet(t *testing.T) {
	o := order(3, 2, 0.05)
	other := slices.Clone(o.Strings)
	other[1].Gauge *= math.Pow(10, 6.0/20)
	m := line([]float64{0, 0, 0}, []float64{2, 2, 2}).independent(0.1, 0.1, 0.1)
	m.steel = true
	if p := made(t, o, m, Options{}); p.Advice != FlatIsEnough {
		t.Errorf("one set: got %q", p.Advice)
	}
	o.Alternatives = []profiles.StringSet{{Name: "other", Strings: other}}
	if p := made(t, o, m, Options{}); p.Advice == FlatIsEnough {
		t.Errorf("two sets: got %q, though flat meets with a chance of %g", p.Advice, p.Flat.Sets[0].Meets)
	}
}

// Pickups are built from what the model believes: where flat is said to be
// enough, at least nine in ten of them meet with flat tops, and in no order fewer
// than half do.
func TestFlatIsEnoughIsRight(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 1))
	said, right, builds := 0, 0, 0
	for range 120 {
		o, m := doubtful(r, 6, 2.6, 0.1)
		o.Tolerance, o.Offset = 1+r.Float64(), nil
		m.curve = falloff(randoms(r, 6, 0.4)).curve
		p := made(t, o, m, Options{})
		if p.Advice != FlatIsEnough {
			continue
		}
		said++
		o.Offset = make([]float64, 6)
		met := 0
		const each = 200
		for range each {
			if built(r, o, m, p.Flat.Heights) {
				met++
			}
		}
		if met < each/2 {
			t.Errorf("flat is said to be enough with a chance of %.2f, and %d of %d meet", p.Flat.Meets, met, each)
		}
		right, builds = right+met, builds+each
	}
	if said < 20 {
		t.Fatalf("flat was enough %d times: too few to tell", said)
	}
	if 10*right < 9*builds {
		t.Errorf("flat was said to be enough for %d orders, and %d of %d pickups meet", said, right, builds)
	}
}

// built builds one pickup by chance and reports whether it meets.
func built(r *rand.Rand, o *profiles.Order, m bench, heights []float64) bool {
	n := len(heights)
	root, err := (&bed{model: m, setup: setup(o, o.Strings)}).root(heights, mat.NewDense(n, n, nil), 0)
	if err != nil {
		return false
	}
	set, z := slices.Clone(heights), randoms(r, n, 1)
	for i := range set {
		set[i] += settingSD * r.NormFloat64()
	}
	y := m.Level(nil, setup(o, o.Strings), set)
	for i := range y {
		y[i] *= decibel
		for k := range z {
			y[i] += root[i*n+k] * z[k]
		}
	}
	mean := stat.Mean(y, nil)
	return !slices.ContainsFunc(y, func(v float64) bool { return math.Abs(v-mean) > o.Tolerance })
}

// A pickup whose poles stand as they are is tilted: string 1 is 1 dB too loud at
// 2 dB a mm of gap, string 2 on target, string 3 1 dB too soft.
func TestFixedPolesAreTilted(t *testing.T) {
	o := order(3, 2, 0.05)
	o.FixedHeights, o.PickupRaise, o.PickupLower = []float64{0.4, 0.4, 0.4}, 1, 1
	m := line([]float64{1, 0, -1}, []float64{2, 2, 2}).independent(0.1, 0.1, 0.1)
	m.byGap = true
	p := made(t, o, m, Options{})
	if !slices.Equal(p.Heights, o.FixedHeights) || p.Flat != nil || p.Move == nil {
		t.Fatalf("got %v, flat %v, move %v", p.Heights, p.Flat, p.Move)
	}
	closeTo(t, "tilt", p.Move.RaiseLast-p.Move.RaiseFirst, 1, 0.11)
	closeTo(t, "string height", p.Move.StringHeightFirst, 3-p.Move.RaiseFirst, 1e-9)
	closeTo(t, "gap", p.Gaps[0], 2.6-p.Move.RaiseFirst, 1e-9)
	if p.Worst > 0.3 || p.Advice != MovePickup {
		t.Errorf("still %.2f dB off at the worst string; advice: %s", p.Worst, p.Advice)
	}

	// As it hangs, string 1 is 1 dB too loud; it stands beside the plan.
	closeTo(t, "as it hangs", p.Move.Unmoved.Deviation[0], 1, 1e-9)
	if names := staggerNames(p); !slices.Equal(names, []string{"plan", "as it hangs", "strings' arc"}) {
		t.Errorf("side by side: %q", names)
	}

	// Trying everything on the grid, with judge, finds nothing better.
	least := math.Inf(1)
	j := newJobOf(t, o, m)
	for _, first := range j.travels() {
		for _, last := range j.travels() {
			got, err := j.moved(first, last).judge(o.FixedHeights)
			if err != nil {
				t.Fatal(err)
			}
			least = min(least, got.Worst)
		}
	}
	if p.Worst > least+alike+0.005 {
		t.Errorf("got %.3f dB off, the best is %.3f", p.Worst, least)
	}
}

func staggerNames(p *Plan) []string {
	var names []string
	for _, s := range p.Staggers() {
		names = append(names, s.Name)
	}
	return names
}

// Already right, a pickup is left where it hangs.
func TestFixedPolesThatServeStay(t *testing.T) {
	o := order(3, 2, 0.05)
	o.FixedHeights, o.PickupRaise, o.PickupLower = []float64{0.4, 0.4, 0.4}, 1, 1
	m := line([]float64{0, 0, 0}, []float64{2, 2, 2}).independent(0.1, 0.1, 0.1)
	m.byGap = true
	p := made(t, o, m, Options{})
	if p.Move.RaiseFirst != 0 || p.Move.RaiseLast != 0 || p.Advice != LeavePickup {
		t.Errorf("moved by %+v; advice: %s", p.Move, p.Advice)
	}

	// A pole that reaches its string leaves nothing to judge as it hangs.
	o.FixedHeights, o.PickupLower = []float64{3, 3, 3}, 1.5
	if p := made(t, o, m, Options{}); p.Move.Unmoved != nil {
		t.Errorf("poles in their strings are judged: %+v", p.Move.Unmoved)
	}
}

// Too near to a string, a pickup is lowered until its gap is kept; when it
// cannot be, that is an error with what is lacking.
func TestFixedPolesKeepTheirGap(t *testing.T) {
	o := order(3, 2, 0.05)
	o.FixedHeights, o.PickupLower, o.MinGap, o.StringSwing = []float64{1.5, 1.5, 1.5}, 1, 1.2, 0.6
	m := line([]float64{0, 0, 0}, []float64{2, 2, 2})
	p := made(t, o, m, Options{})
	if got := slices.Min(p.Gaps); got < 1.8-1e-9 {
		t.Errorf("a gap of %.2f mm, want 1.8 at least", got)
	}
	o.PickupLower = 0.2
	if _, err := Make(o, m, Options{}); err == nil || !strings.Contains(err.Error(), "by 0.10 mm at the best") {
		t.Errorf("got %v", err)
	}
}

// A limit that holds a string back is named, with what a step more would buy:
// the figures are those of a plan for the wider order.
func TestRelaxedLimits(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(o *profiles.Order)
		limit  string
		to     float64
		wider  func(o *profiles.Order)
	}{
		{"highest", func(o *profiles.Order) { o.PoleHeightMax = 0.5 }, "pole_height_max_mm", 0.55, func(o *profiles.Order) { o.PoleHeightMax = 0.55 }},
		{"lowest", func(o *profiles.Order) { o.PoleHeightMin, o.PoleHeightMax = 1, 1.4 }, "pole_height_min_mm", 0.95, func(o *profiles.Order) { o.PoleHeightMin = 0.95 }},
		{"gap", func(o *profiles.Order) { o.MinGap = 2.5 }, "min_gap_mm", 2.45, func(o *profiles.Order) { o.MinGap = 2.45 }},
		{"stock", func(o *profiles.Order) { o.PoleHeights = []float64{0, 0.2, 0.5} }, "pole_heights_mm", 0.8, func(o *profiles.Order) { o.PoleHeights = append(o.PoleHeights, 0.8) }},
	} {
		o := order(3, 2, 0.05)
		c.change(o)
		m := line([]float64{0, 4, 0}, []float64{2, 2, 2}).independent(0.2, 0.2, 0.2)
		p := made(t, o, m, Options{})
		i := slices.IndexFunc(p.Relaxed, func(r Relaxed) bool { return r.Limit == c.limit })
		if i < 0 {
			t.Errorf("%s: not in %+v", c.name, p.Relaxed)
			continue
		}
		r := p.Relaxed[i]
		c.wider(o)
		want := made(t, o, m, Options{})
		closeTo(t, c.name+": to", r.To, c.to, 1e-9)
		closeTo(t, c.name+": worst", r.Worst, want.Worst, alike+0.005)
		closeTo(t, c.name+": gain", r.Gain, p.Worst-r.Worst, 1e-9)
		if r.Gain <= 0 {
			t.Errorf("%s: a gain of %.3f dB, want some", c.name, r.Gain)
		}
	}
}

// A length in stock between two others is named when it would serve, and a travel
// that is used up.
func TestRelaxedStockAndTravel(t *testing.T) {
	o := order(4, 2, 0)
	o.PoleHeights = []float64{0, 1, 2}
	m := line([]float64{0, -1, 0, 0}, []float64{2, 2, 2, 2}).independent(0.1, 0.1, 0.1, 0.1)
	p := made(t, o, m, Options{})
	if len(p.Relaxed) != 1 || p.Relaxed[0].Limit != "pole_heights_mm" || math.Abs(p.Relaxed[0].To-0.5) > 0.15 || p.Relaxed[0].Gain < 0.3 {
		t.Errorf("stock: got %+v for %v", p.Relaxed, p.Heights)
	}

	o = order(2, 2, 0.05)
	o.FixedHeights, o.PickupRaise, o.PickupLower = []float64{0.4, 0.4}, 0.2, 0.3
	m = line([]float64{0, 4}, []float64{2, 2}).independent(0.1, 0.1)
	m.byGap = true
	p = made(t, o, m, Options{})
	if len(p.Relaxed) != 2 || p.Relaxed[0].Limit != "pickup_raise_mm" || p.Relaxed[1].Limit != "pickup_lower_mm" {
		t.Fatalf("travel: got %+v for %+v", p.Relaxed, p.Move)
	}
	for _, r := range p.Relaxed { // 0.1 mm more is worth 0.2 dB between two strings, half of it to either
		closeTo(t, r.Limit, r.Gain, 0.1, 0.005)
	}
}

// A limit does not hold a string that another set wants the other way: string 2
// is 2 dB too soft under the order's strings at the highest pole, 2 dB too loud
// under the others. What a wider limit would buy counts the set that suits least.
func TestSetsThatPullApartAreNotHeld(t *testing.T) {
	o := order(2, 0.5, 0.05)
	other := slices.Clone(o.Strings)
	other[1].Gauge *= math.Pow(10, 8.0/20)
	o.Alternatives = []profiles.StringSet{{Name: "other", Strings: other}}
	m := line([]float64{0, -5}, []float64{2, 2}).independent(0.1, 0.1)
	m.steel = true
	p := made(t, o, m, Options{})
	if p.Heights[1] != 0.5 || len(p.Relaxed) != 0 || warned(p, "keeps its pole") {
		t.Errorf("the sets stand against each other at %v: got %+v, %q", p.Heights, p.Relaxed, p.Warnings)
	}

	other[1].Gauge = o.Strings[1].Gauge * math.Pow(10, -1.0/20) // now the other set lacks most
	p = made(t, o, m, Options{})
	if len(p.Relaxed) != 2 {
		t.Fatalf("got %+v, want both limits", p.Relaxed)
	}
	for _, r := range p.Relaxed { // 0.05 mm at 2 dB a mm, half of it to either string
		closeTo(t, r.Limit+": gain", r.Gain, 0.05, 0.002)
		closeTo(t, r.Limit+": worst", r.Worst, p.Sets[0].Worst-r.Gain, 1e-9)
	}
}

// An order that fits has no limits to relax.
func TestNothingToRelax(t *testing.T) {
	o, m := usual()
	if p := made(t, o, m, Options{}); len(p.Relaxed) != 0 {
		t.Errorf("got %+v", p.Relaxed)
	}
}

// Each pole may be off until the chance to meet has lost a tenth: judged anew
// with the pole there, it has lost about that.
func TestPolesMayBeOff(t *testing.T) {
	o, m := usual()
	o.FormerDepth = 11
	p := made(t, o, m, Options{})
	j := newJobOf(t, o, m)
	for i, q := range p.Poles {
		closeTo(t, "length", q.Length, p.Heights[i]+11, 1e-9)
		for _, off := range []float64{-q.Lower, q.Higher} {
			at := slices.Clone(p.Heights)
			at[i] += off
			got, err := j.judge(at)
			if err != nil {
				t.Fatal(err)
			}
			if lost := 1 - got.Meets/p.Meets; math.Abs(lost-riskTaken) > 0.05 {
				t.Errorf("pole %d off by %+.2f mm loses %.2f of the chance, want about %g", i+1, off, lost, riskTaken)
			}
		}
	}
}

// Where there is no chance to lose, no pole has room to be off.
func TestNoChanceLeavesNoRoom(t *testing.T) {
	o, m := usual()
	o.Tolerance = 0.01
	for i, q := range made(t, o, m, Options{}).Poles {
		if q.Lower != 0 || q.Higher != 0 {
			t.Errorf("pole %d may be off by -%.2f to +%.2f mm, though the plan meets in no build", i+1, q.Lower, q.Higher)
		}
	}
}

// Magnets go where they serve: a pole that cannot stand higher gets the
// strongest. Trying every assignment finds nothing better.
func TestMagnetsAreMatched(t *testing.T) {
	o := order(3, 0.2, 0.1)
	m := line([]float64{0, -1.2, 0.3}, []float64{2, 2, 2}).independent(0.1, 0.1, 0.1)
	m.magnets = map[string]float64{"a": 0, "b": 0.6, "c": -0.5, "d": 0.1, "e": -0.4, "f": 0.05}
	stock := []string{"a", "b", "c", "d", "e", "f"}
	p := made(t, o, m, Options{Stock: stock})
	if p.Poles[1].Magnet != "b" {
		t.Errorf("the strongest magnet is not under the string that lacks most: %+v", p.Poles)
	}
	least := math.Inf(1)
	every([]int{6, 6, 6}, func(index []int) {
		if index[0] == index[1] || index[1] == index[2] || index[0] == index[2] {
			return
		}
		j := newJobOf(t, o, m).withStock(stock).withMagnets(index)
		s, err := j.newSearch()
		if err != nil {
			t.Fatal(err)
		}
		best, err := s.best()
		if err != nil {
			t.Fatal(err)
		}
		least = min(least, ownOf(t, s, best))
	})
	if p.Worst > least+0.02 {
		t.Errorf("got %.3f dB off, the best is %.3f", p.Worst, least)
	}
}

func (j *job) withStock(stock []string) *job {
	j.opt.Stock = stock
	return j
}

// Magnets that the model does not tell apart, too few of them, or magnets that
// the order names already: none are chosen.
func TestMagnetsAreLeftAlone(t *testing.T) {
	o := order(2, 1, 0.1)
	m := line([]float64{0, 1}, []float64{2, 2})
	if p := made(t, o, m, Options{Stock: []string{"a", "b", "c"}}); p.Poles[0].Magnet != "" {
		t.Errorf("all alike: got %+v", p.Poles)
	}
	m.magnets = map[string]float64{"a": 1}
	if p := made(t, o, m, Options{Stock: []string{"a"}}); p.Poles[0].Magnet != "" {
		t.Errorf("too few: got %+v", p.Poles)
	}
	o.Magnets = []string{"x", "y"}
	if p := made(t, o, m, Options{Stock: []string{"a", "b", "c"}}); p.Poles[0].Magnet != "x" {
		t.Errorf("named: got %+v", p.Poles)
	}
}

// What if, by hand: 2 dB a mm of gap.
func TestWhatIf(t *testing.T) {
	o := order(3, 2, 0.05)
	o.FretboardRadius = 250
	other := profiles.StringSet{Name: "other", Strings: slices.Clone(o.Strings)}
	other.Strings[0].Gauge *= math.Pow(10, 3.0/20)
	m := line([]float64{0, 0, 0}, []float64{2, 2, 2}).independent(0.2, 0.2, 0.2)
	m.byGap, m.steel = true, true
	p := made(t, o, m, Options{})
	changes, err := WhatIf(o, m, Options{}, p, []profiles.StringSet{other, {Name: "of two", Strings: other.Strings[:2]}})
	if err != nil {
		t.Fatal(err)
	}
	byName := map[string]Change{}
	for _, c := range changes {
		byName[c.What] = c
	}
	for what, want := range map[string][]float64{
		"pickup +0.5 mm": {0, 0, 0},
		"pole 2 +0.1 mm": {-0.2 / 3, 0.4 / 3, -0.2 / 3},
		"strings other":  {2, -1, -1},
		"tilt: string 1's end +0.25 mm, the other -0.25": {0.5, 0, -0.5},
	} {
		c, ok := byName[what]
		if !ok {
			t.Errorf("no %q in %d changes", what, len(changes))
			continue
		}
		for i := range want {
			closeTo(t, what, c.Change[i], want[i], 0.001)
		}
	}
	rounder := byName["fretboard radius 200 mm"]
	arc := func(r float64) float64 { return r - math.Sqrt(r*r-10.4*10.4) } // rise of the middle string
	closeTo(t, "rounder", rounder.Change[1], -2*(arc(200)-arc(250))*2/3, 0.001)
	if _, ok := byName["strings of two"]; ok {
		t.Error("a set of two strings was put over three poles")
	}
}

// What is planned stays as planned in every change: the magnets chosen, and the
// pickup where it is to hang.
func TestWhatIfKeepsThePlan(t *testing.T) {
	o := order(3, 0.2, 0.1)
	m := line([]float64{0, -1.2, 0.3}, []float64{2, 2, 2}).independent(0.1, 0.1, 0.1)
	m.magnets = map[string]float64{"a": 0, "b": 0.9, "c": -0.5}
	matched := Options{Stock: []string{"a", "b", "c"}}

	fixed := order(3, 2, 0.05)
	fixed.FixedHeights, fixed.PickupRaise, fixed.PickupLower = []float64{0.4, 0.4, 0.4}, 1, 1
	gaps := line([]float64{1, 0, -1}, []float64{2, 2, 2}).independent(0.1, 0.1, 0.1)
	gaps.byGap = true

	for _, c := range []struct {
		o   *profiles.Order
		m   bench
		opt Options
	}{{o, m, matched}, {fixed, gaps, Options{}}} {
		p := made(t, c.o, c.m, c.opt)
		changes, err := WhatIf(c.o, c.m, Options{}, p, nil)
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(changes, func(c Change) bool { return c.What == "pole 2 +0.1 mm" })
		for k, want := range []float64{-0.2 / 3, 0.4 / 3, -0.2 / 3} {
			closeTo(t, "pole 2", changes[i].Change[k], want, 0.001)
		}
	}
}

// A change that puts a pole into its string is left out, not an error.
func TestWhatIfLeavesOutTheImpossible(t *testing.T) {
	o := order(2, 2, 0.05)
	o.StringHeightFirst, o.StringHeightLast, o.MinGap, o.PoleHeightMin = 0.6, 0.6, 0.2, 0.3
	o.PoleHeightMax = 0.35
	m := line([]float64{0, 0}, []float64{2, 2})
	p := made(t, o, m, Options{})
	changes, err := WhatIf(o, m, Options{}, p, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range changes {
		if c.What == "pickup +0.5 mm" {
			t.Errorf("a pickup raised through its strings has a balance of %v", c.Balance)
		}
	}
}

func TestPull(t *testing.T) {
	for _, c := range []struct {
		kind profiles.PoleKind
		wrap string
		gap  float64
		want bool
	}{
		{profiles.Rod, "plain", 1.5, true}, {profiles.Rod, "plain", 1.7, false},
		{profiles.Rod, "nickel", 1.9, true}, {profiles.Rod, "nickel", 2.1, false}, {profiles.Screw, "nickel", 1.2, false},
	} {
		o := order(2, 2.5, 0.05)
		o.Poles, o.PoleHeightMin, o.PoleHeightMax = c.kind, 3-c.gap, 3-c.gap
		for i := range o.Strings {
			o.Strings[i].Wrap = c.wrap
		}
		p := made(t, o, line([]float64{0, 0}, []float64{2, 2}), Options{})
		if got := warned(p, "magnet pull gets large: string 1"); got != c.want {
			t.Errorf("%s, %s, %g mm: warned %v, want %v", c.kind, c.wrap, c.gap, got, c.want)
		}
	}
}

// What the strings of another set need counts, too: a wound string feels a
// magnet from farther away, and a core may be estimated there.
func TestWarningsOfOtherSets(t *testing.T) {
	o := order(2, 2.5, 0.05)
	o.PoleHeightMin, o.PoleHeightMax = 1.2, 1.2 // a gap of 1.8 mm
	wound := slices.Clone(o.Strings)
	wound[1].Wrap, wound[1].CoreEstimated = "nickel", true
	o.Alternatives = []profiles.StringSet{{Name: "wound", Strings: wound}}
	p := made(t, o, line([]float64{0, 0}, []float64{2, 2}), Options{})
	for _, want := range []string{
		"magnet pull gets large: string 2 (gap 1.80 mm, 2.0 mm wanted);",
		`core estimated from the gauge: string 2 of "wound";`,
	} {
		if !warned(p, want) {
			t.Errorf("no warning with %q in %q", want, p.Warnings)
		}
	}
}

// Odd orders have answers: one height for all, all strings alike, poles that do
// nothing.
func TestOddOrders(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(o *profiles.Order, m *bench)
		want   Advice
	}{
		{"one height for all", func(o *profiles.Order, m *bench) { o.PoleHeightMin, o.PoleHeightMax = 0.5, 0.5 }, NotReachable},
		{"one length in stock", func(o *profiles.Order, m *bench) { o.PoleHeights = []float64{1} }, NotReachable},
		{"every string at its highest", func(o *profiles.Order, m *bench) { o.MinGap = 3 }, NotReachable},
		{"poles that do nothing", func(o *profiles.Order, m *bench) { *m = line([]float64{0, 0, 0}, []float64{0, 0, 0}) }, FlatIsEnough},
		{"poles that work backwards", func(o *profiles.Order, m *bench) { *m = line([]float64{0, 2, 0}, []float64{-2, -2, -2}) }, UseStagger},
		{"a tolerance of 20 dB", func(o *profiles.Order, m *bench) { o.Tolerance = 20 }, FlatIsEnough},
		{"a step larger than the range", func(o *profiles.Order, m *bench) { o.PoleHeightStep = 5 }, NotReachable},
	} {
		o, m := order(3, 2, 0.05), line([]float64{0, 3, 0}, []float64{2, 2, 2}).independent(0.1, 0.1, 0.1)
		c.change(o, &m)
		if p := made(t, o, m, Options{}); p.Advice != c.want {
			t.Errorf("%s: got %q (%v), want %q", c.name, p.Advice, p.Heights, c.want)
		}
	}
}
