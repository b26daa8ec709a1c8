package plan

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"evenpole/fit/level"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

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
	closeTo(t, "worst", p.MaxWorst(), max(p.Worst, p.Sets[0].Worst), 0)

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

// A poor chance is that of the set with the least, and the warning names it and what the
// limits leave there.
func TestPoorChanceNamesItsSet(t *testing.T) {
	o := order(3, 0.3, 0.05)
	o.Tolerance = 1.3
	other := slices.Clone(o.Strings)
	other[1].Gauge *= math.Pow(10, 2.5/20)
	o.Alternatives = []profiles.StringSet{{Name: "louder", Strings: other}}
	m := line([]float64{0, 0, 0}, []float64{2, 2, 2}).independent(0.6, 0.6, 0.6)
	m.steel = true
	p := made(t, o, m, Options{})
	least := p.leastSure()
	if least.Name != "louder" || !(least.Meets < 0.5) || !(p.Meets > least.Meets) {
		t.Fatalf("the sets meet with %.2f and %.2f: no case for this test", p.Meets, p.Sets[0].Meets)
	}
	want := fmt.Sprintf("is only %.0f %% with %q: the limits leave string 2 at %+.1f dB", 100*least.Meets, "louder", p.Sets[0].Deviation[1])
	if !warned(p, want) {
		t.Errorf("got %q, want %q", p.Warnings, want)
	}
}

// Where flat tops lack little, the plan says how near they are and what decides; where
// they are advised, or far off, it does not.
func TestNearlyFlatIsSaid(t *testing.T) {
	m := line([]float64{0, 1.2, -1.2}, []float64{2, 2, 2}).independent(0.5, 0.5, 0.5)
	said, silent := 0, 0
	for tolerance := 1.0; tolerance < 4; tolerance += 0.1 {
		o := order(3, 2, 0.05)
		o.Tolerance = tolerance
		p := made(t, o, m, Options{})
		near := p.Flat.Meets >= nearlyFlat && p.Flat.Meets < flatChance
		want := fmt.Sprintf("nearly enough: they keep every string within %g dB with a chance of %.0f %%", tolerance, 100*p.Flat.Meets)
		if warned(p, want) != near || (p.Advice == FlatIsEnough) != (p.Flat.Meets >= flatChance) {
			t.Errorf("tolerance %g: flat tops meet with %.2f: got %q, %q", tolerance, p.Flat.Meets, p.Advice, p.Warnings)
		}
		if near {
			said++
		} else {
			silent++
		}
	}
	if said == 0 || silent == 0 {
		t.Fatalf("said for %d orders, not for %d: no case for this test", said, silent)
	}
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
	root, err := (&variant{model: m, setup: setup(o, o.Strings)}).root(heights, mat.NewDense(n, n, nil), 0)
	if err != nil {
		return false
	}
	set, z := slices.Clone(heights), randoms(r, n, 1)
	for i := range set {
		set[i] += settingSD * r.NormFloat64()
	}
	y := m.Level(nil, setup(o, o.Strings), set)
	for i := range y {
		y[i] *= level.PerLn
		for k := range z {
			y[i] += root[i*n+k] * z[k]
		}
	}
	mean := stat.Mean(y, nil)
	return !slices.ContainsFunc(y, func(v float64) bool { return math.Abs(v-mean) > o.Tolerance })
}

func TestPull(t *testing.T) {
	for _, c := range []struct {
		kind profiles.PoleKind
		wrap profiles.Wrap
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
