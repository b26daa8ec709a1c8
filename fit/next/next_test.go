package next

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/curve/curvetest"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// wantSteels is a pickup to come under the strings that tests use.
func wantSteels() []Want {
	return []Want{{
		Setup:   &fit.Setup{Strings: curvetest.Steels, StringHeights: []float64{3, 3.4, 3.6, 3.7, 3.6, 3.4}, Spacing: 10.2},
		Heights: []float64{0.5, 1, 1.5, 1.5, 1, 0.5},
	}}
}

func setsForNext() []profiles.StringSet {
	light := profiles.StringSet{Name: "set0", Strings: curvetest.Steels}
	heavy := profiles.StringSet{Name: "set1"}
	for _, s := range curvetest.Steels {
		s.Core, s.Gauge = 1.2*s.Core, 1.2*s.Gauge
		heavy.Strings = append(heavy.Strings, s)
	}
	return []profiles.StringSet{light, heavy}
}

// TestNextNarrowsAsItSays: whatever capture a shop makes, of a pickup that it
// knows or of a new one, it ends up knowing as much more as was said. What is
// known is read from fits to cells of a known truth, before and after.
func TestNextNarrowsAsItSays(t *testing.T) {
	_, cells := curvetest.Shop(rand.New(rand.NewPCG(31, 32)), 3)
	var few []cell.Cell
	for _, c := range cells {
		if c.Session == "s0" {
			few = append(few, c)
		}
	}
	d := &cell.Data{Cells: few}
	before := asHandbook(t, d)
	g, err := newSearch(t.Context(), before, d, wantSteels(), setsForNext())
	if err != nil {
		t.Fatal(err)
	}
	was := uncertaintyOf(before)
	if said := g.uncertainty(g.cov); math.Abs(was-said) > 1e-3*was {
		t.Errorf("unknown before: %.6f dB, %.6f by the plain formula", said, was)
	}
	ofKnown, ofNew := 0, 0
	for i := range g.candidates {
		c := &g.candidates[i]
		cov, ok := g.after(c)
		if !ok {
			t.Fatal("no update")
		}
		room := g.room(len(c.slope))
		less, _ := g.narrowing(c, g.propagated(g.cov), room)
		sameProduct(t, g, room)
		if said, is := g.rms(g.total(g.propagated(g.cov))-less), g.uncertainty(cov); math.Abs(said-is) > 1e-9 {
			t.Errorf("%q under %q: narrowed to %.9f dB, by the covariance after it %.9f", c.Pickup, c.Set, said, is)
		}
		after := asHandbook(t, &cell.Data{Cells: append(few[:len(few):len(few)], proposedCells(before, &c.Proposal, "next")...)})
		if said, is := g.uncertainty(cov), uncertaintyOf(after); math.Abs(said-is) > 0.002+0.1*(was-is) {
			t.Errorf("%q under %q, %.1f mm higher: said %.4f to %.4f dB, came %.4f", c.Pickup, c.Set, c.Higher, was, said, is)
		}
		if c.Pickup == "" {
			ofNew++
		} else {
			ofKnown++
		}
	}
	if ofKnown < 10 || ofNew < 10 {
		t.Errorf("%d captures of known pickups and %d of new ones: too few to tell", ofKnown, ofNew)
	}
	list, err := Next(t.Context(), before, d, wantSteels(), setsForNext(), 1)
	if err != nil || len(list) != 1 {
		t.Fatal(list, err)
	}
	for i := range g.candidates {
		if cov, ok := g.after(&g.candidates[i]); ok && was-g.uncertainty(cov) > (was-list[0].After)/nearlyAsMuch+1e-9 {
			t.Errorf("a better capture than the one proposed: %+v", g.candidates[i].Proposal)
		}
	}
}

// TestNextWindsOnce: a test pickup that is wound for one capture is measured again
// without another being wound, and is then known as far as the first one tells.
func TestNextWindsOnce(t *testing.T) {
	_, cells := curvetest.Shop(rand.New(rand.NewPCG(33, 34)), 3)
	d := &cell.Data{Cells: cells}
	before := asHandbook(t, d)
	g, err := newSearch(t.Context(), before, d, wantSteels(), setsForNext())
	if err != nil {
		t.Fatal(err)
	}
	for n, set := range []string{"set0", "set1"} {
		for i := range g.candidates {
			c := g.candidates[i]
			if c.key != "to be wound 1" || c.Set != set || (c.Higher > 0) != (n == 1) {
				continue
			}
			if want := []int{costsWinding, costsNothing}[n]; g.cost(&c) != want {
				t.Errorf("capture %d costs %d, want %d", n+1, g.cost(&c), want)
			}
			if p := g.choose(c, n+1); p.WoundFor != 1 {
				t.Errorf("capture %d is of a pickup wound for %d", n+1, p.WoundFor)
			}
			cells = append(cells, proposedCells(before, &c.Proposal, "next "+set)...)
		}
	}
	after := asHandbook(t, &cell.Data{Cells: cells})
	was, said, is := uncertaintyOf(before), g.uncertainty(g.cov), uncertaintyOf(after)
	if math.Abs(said-is) > 0.002+0.1*(was-is) {
		t.Errorf("said %.4f to %.4f dB, came %.4f", was, said, is)
	}
}

// proposedCells are the cells of a capture, as the model expects them.
func proposedCells(f *fit.Falloff, p *Proposal, session string) []cell.Cell {
	var out []cell.Cell
	name := p.Pickup
	if name == "" {
		name = "new"
	}
	for i, s := range p.Strings {
		hz, _ := profiles.Pitch(s.Note)
		c := cell.Cell{
			Mounting: &cell.Mounting{Pickup: name, Session: session, Set: p.Set, Mode: "P", Excite: profiles.Travel, Batch: "b"},
			String:   i + 1, Core: s.Core, Gauge: s.Gauge, Wrap: s.Wrap, PoleHeight: p.PoleHeights[i], StringHeight: p.StringHeights[i],
			Takes: takesForNext, SD: 0.03, Freq: hz,
		}
		c.Mean = f.Expect([]cell.Cell{c})[0]
		out = append(out, c)
	}
	return out
}

// uncertainty is the root mean square of the balances' standard deviations, dB, by a
// covariance of the unknowns.
func (s *search) uncertainty(cov mat.Symmetric) float64 { return s.rms(s.total(s.propagated(cov))) }

// uncertaintyOf is what Next narrows, by the plain formula: string by string.
func uncertaintyOf(f *fit.Falloff) float64 {
	w := wantSteels()[0]
	j := mat.NewDense(len(curvetest.Steels), f.Size(), nil)
	for i := range curvetest.Steels {
		f.Gradient(j.RawRowView(i), f.Theta, f.Site(w.Setup, i, w.Heights), 0)
	}
	full := solve.Propagated(j, solve.Symmetric(f.Cov))
	cov := mat.NewSymDense(len(curvetest.Steels), nil)
	for i := range curvetest.Steels {
		for k := i; k < len(curvetest.Steels); k++ {
			cov.SetSym(i, k, full.At(i, k))
		}
	}
	var sum float64
	for i := range curvetest.Steels {
		sum += curvetest.BalanceVariance(cov, i)
	}
	return level.PerLn * math.Sqrt(sum/float64(len(curvetest.Steels)))
}

// sameProduct compares G C with the plain product, in the columns in which it is used.
func sameProduct(t *testing.T, g *search, m *measured) {
	t.Helper()
	var whole mat.Dense
	whole.Mul(m.g, g.cov)
	rows, columns := m.g.Dims()
	for i := range rows {
		for j := range columns {
			used := slices.Contains(m.columns, j)
			if used && m.gc.At(i, j) != whole.At(i, j) || !used && m.g.At(i, j) != 0 {
				t.Fatalf("row %d, column %d: %v by the columns that are not 0, %v by all; gradient %v", i, j, m.gc.At(i, j), whole.At(i, j), m.g.At(i, j))
			}
		}
	}
}

// TestNextUpdateIsExact: the covariance after a capture is what adding its
// information to that of the rest gives.
func TestNextUpdateIsExact(t *testing.T) {
	f := fit.Handbook(profiles.Travel).(*fit.Falloff)
	g, err := newSearch(t.Context(), f, &cell.Data{}, wantSteels(), setsForNext())
	if err != nil {
		t.Fatal(err)
	}
	for i := range g.candidates {
		c := &g.candidates[i]
		got, ok := g.after(c)
		if !ok {
			t.Fatal("no update")
		}
		var prior, noise, info, gv, want mat.Dense
		if err := prior.Inverse(g.cov); err != nil {
			t.Fatal(err)
		}
		m := g.room(len(c.slope))
		g.gradientOf(c, m.g)
		g.noiseOf(c, m.v)
		if err := noise.Inverse(m.v); err != nil {
			t.Fatal(err)
		}
		gv.Mul(m.g.T(), &noise)
		info.Mul(&gv, m.g)
		info.Add(&info, &prior)
		if err := want.Inverse(&info); err != nil {
			t.Fatal(err)
		}
		for j := range g.model.Size() {
			if a, b := got.At(j, j), want.At(j, j); math.Abs(a-b) > 1e-6*b {
				t.Errorf("%s: variance %g, by information %g", g.model.Names()[j], a, b)
			}
		}
	}
}

// TestNextAsksForWhatIsMissing: a wrap never measured, when it is ordered;
// strings that were never moved.
func TestNextAsksForWhatIsMissing(t *testing.T) {
	all := celltest.Sample(t)
	f := fitted(t, all)
	wants := wantSteels()
	wants[0].Setup.Strings = append([]profiles.String{}, curvetest.Steels...)
	for i := range wants[0].Setup.Strings {
		if s := &wants[0].Setup.Strings[i]; s.Wrap != profiles.Plain {
			s.Wrap = "stainless"
		}
	}
	known := profiles.StringSet{Name: "ten-nps", Strings: append([]profiles.String{}, curvetest.Steels...)}
	for i := range known.Strings {
		if s := &known.Strings[i]; s.Wrap != profiles.Plain {
			s.Wrap = "nickel_plated_steel"
		}
	}
	steel := profiles.StringSet{Name: "steel", Strings: wants[0].Setup.Strings}
	list, err := Next(t.Context(), f, all, wants, []profiles.StringSet{known, steel}, 2)
	if err != nil || len(list) == 0 {
		t.Fatal(list, err)
	}
	if p := list[0]; p.Set != "steel" || p.Pickup == "" || !(p.After < 0.75*p.Before) {
		t.Errorf("first proposal %+v", p)
	}
	for i, p := range list {
		if !(p.After < p.Before) || i > 0 && math.Abs(p.Before-list[i-1].After) > 1e-9 {
			t.Errorf("proposal %d: %.3f to %.3f dB", i+1, p.Before, p.After)
		}
	}
}

// TestNextWithoutData proposes test pickups to be wound.
func TestNextWithoutData(t *testing.T) {
	list, err := Next(t.Context(), fit.Handbook(profiles.Travel), &cell.Data{}, wantSteels(), setsForNext(), 3)
	if err != nil || len(list) != 3 {
		t.Fatal(list, err)
	}
	for i, p := range list {
		if p.WoundFor < 1 || p.WoundFor > i+1 || p.Pickup != "" || !(p.After < p.Before) || len(p.PoleHeights) != 6 {
			t.Errorf("%+v", p)
		}
	}
	base, err := fit.OfKind(context.Background(), celltest.Sample(t), "loglinear-height")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Next(t.Context(), base, &cell.Data{}, wantSteels(), setsForNext(), 1); err == nil {
		t.Error("a log-linear model was asked and answered")
	}
	if _, err := Next(t.Context(), fit.Handbook(profiles.Travel), &cell.Data{}, nil, setsForNext(), 1); err == nil {
		t.Error("no pickup to come")
	}
}

// asHandbook fits the falloff model with the scatter that the handbook has.
func asHandbook(t *testing.T, d *cell.Data) *fit.Falloff {
	t.Helper()
	refit, err := fit.RefitOf(fit.Handbook(profiles.Travel))
	if err != nil {
		t.Fatal(err)
	}
	m, err := refit(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	return m.(*fit.Falloff)
}

// fitted fits the falloff model.
func fitted(t *testing.T, d *cell.Data) *fit.Falloff {
	t.Helper()
	m, err := fit.OfKind(context.Background(), d, "falloff")
	if err != nil {
		t.Fatal(err)
	}
	return m.(*fit.Falloff)
}

// What looks for captures ends with its context.
func TestNextEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if list, err := Next(ctx, fit.Handbook(profiles.Travel), &cell.Data{}, wantSteels(), setsForNext(), 1); !errors.Is(err, context.Canceled) || list != nil {
		t.Errorf("got %v, %v", list, err)
	}
}
