package screen

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/curve"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// dense is the second, slow way to the likelihood of levels: one dense covariance of all
// cells of the record. The cells of a mounting count in full, and rows may stand in place
// of its own.
type dense struct {
	m        *levelModel
	cells    []*cell.Cell // whose they are
	mounting mounting
	rows     []row
}

func (s *screener) dense(m mounting) *dense {
	return &dense{s.levels, slices.Clone(s.cells), m, s.levels.allRows()}
}

// allRows are the rows of all cells.
func (m *levelModel) allRows() []row {
	out := make([]row, len(m.cells))
	for _, p := range m.all {
		o := newOpened(m)
		o.open(p)
		for _, i := range p.cells {
			out[i] = *o.row(i)
		}
	}
	return out
}

// baselineOf is the record as filed beside which a mounting is looked at.
func (s *screener) baselineOf(m mounting) *baseline {
	l := new(locals)
	l.fill(newElimination(s.levels), s.levels.all[s.levels.number[s.cells[m[0]].Pickup]])
	b := &baseline{}
	s.begin(b, m, l, s.levels.unexplained(l))
	return b
}

// with is the same with a hypothesis's cells in place of the mounting's.
func (d *dense) with(s *screener, h *hypothesis) *dense {
	c := &dense{d.m, slices.Clone(d.cells), d.mounting, slices.Clone(d.rows)}
	for x, i := range h.touched {
		corrected := *s.cells[i]
		h.correct(x, &corrected)
		c.cells[i], c.rows[i] = &corrected, row{}
		pickup := d.m.number[corrected.Pickup]
		last := d.m.all[d.m.number[s.cells[i].Pickup]].last()
		newOpened(d.m).rowOf(&corrected, i, where{pickup, d.m.sessionOf(pickup, corrected.Session), last}, &c.rows[i])
	}
	return c
}

func (d *dense) gradient(i int) []float64 {
	out := make([]float64, len(d.m.mean))
	copy(out, d.rows[i].gradient)
	for _, col := range d.rows[i].class.columns {
		out[col] = 1
	}
	return out
}

// local is the covariance of two cells by the effects that are local to their pickup.
func (d *dense) local(i, k int) float64 {
	a, b := d.cells[i], d.cells[k]
	if a.Pickup != b.Pickup {
		return 0
	}
	v := solve.Square(curve.Effects[curve.PickupEffect].Spread.SD)
	if a.String == b.String {
		v += solve.Square(curve.Effects[curve.PoleEffect].Spread.SD)
	}
	if a.Session == b.Session {
		v += solve.Square(curve.Effects[curve.MountingEffect].Spread.SD) * d.rows[i].lift * d.rows[k].lift
	}
	return v * solve.Square(d.m.scale)
}

// covariance is that of the levels of some cells, and how far they lie from what the
// priors let expect.
func (d *dense) covariance(cells []int, extra map[int]float64) (*mat.SymDense, *mat.VecDense) {
	n, q := len(cells), len(d.m.mean)
	start := make([]float64, q)
	a, scaled := mat.NewDense(n, q, nil), mat.NewDense(n, q, nil)
	for k := range start {
		start[k] = d.m.mean[k] - d.m.given.mean[k]
		if k < len(d.m.theta) {
			start[k] -= d.m.theta[k]
		}
	}
	miss := mat.NewVecDense(n, nil)
	for x, i := range cells {
		g := d.gradient(i)
		a.SetRow(x, g)
		for k, sd := range d.m.sd {
			if k >= len(d.m.theta) {
				sd *= d.m.scale
			}
			scaled.Set(x, k, g[k]*sd*sd)
		}
		if !d.rows[i].unknown {
			miss.SetVec(x, d.rows[i].residual-inner(start, g))
		}
	}
	var full mat.Dense
	full.Mul(scaled, a.T())
	v := mat.NewSymDense(n, nil)
	for x, i := range cells {
		for y := x; y < n; y++ {
			if !d.rows[i].unknown && !d.rows[cells[y]].unknown {
				v.SetSym(x, y, full.At(x, y)+d.local(i, cells[y]))
			}
		}
		noise := d.rows[i].noise
		if !slices.Contains(d.mounting, i) {
			noise /= d.m.weight[i]
		}
		if d.rows[i].unknown {
			noise = impossibleSD * impossibleSD
		}
		v.SetSym(x, x, v.At(x, x)+noise+extra[i])
	}
	return v, miss
}

// conditional is half the log determinant and the quadratic form of the levels of some
// pickups, given all other pickups: those of all cells less those of the others.
func (d *dense) conditional(t *testing.T, pickups []string, extra map[int]float64) (halfLogDet, form float64, cells int) {
	t.Helper()
	normal := func(cells []int) (float64, float64) {
		if len(cells) == 0 {
			return 0, 0
		}
		v, miss := d.covariance(cells, extra)
		var chol mat.Cholesky
		var w mat.VecDense
		if !chol.Factorize(v) || chol.SolveVecTo(&w, miss) != nil {
			t.Fatal("covariance is not one")
		}
		return chol.LogDet() / 2, mat.Dot(&w, miss)
	}
	var all, rest []int
	for i := range d.cells {
		all = append(all, i)
		if !slices.Contains(pickups, d.cells[i].Pickup) {
			rest = append(rest, i)
		}
	}
	logAll, formAll := normal(all)
	logRest, formRest := normal(rest)
	return logAll - logRest, formAll - formRest, len(all) - len(rest)
}

func (d *dense) student(t *testing.T, pickups []string, extra map[int]float64) float64 {
	log, form, cells := d.conditional(t, pickups, extra)
	return student(cells, log, form)
}

// fitted is a screener at the beginning of its first round.
func fitted(t testing.TB, d *cell.Data) *screener {
	t.Helper()
	s := newScreener(d)
	s.lists = s.listsOf()
	s.levels = newLevelModel(s)
	s.habits = s.learnHabits()
	return s
}

// someHypotheses are the first and the last of every kind and length.
func (s *screener) someHypotheses(b *baseline) []*hypothesis {
	var out []*hypothesis
	add := func(list []*hypothesis) {
		if n := len(list); n > 0 {
			out = append(out, list[0], list[n-1])
		}
	}
	for _, l := range lengths {
		add(s.scaledOne(b, l))
		add(s.scaledAll(b, l))
	}
	add(s.swapped(b, poleLength))
	add(s.reversed(b))
	add(s.otherSets(b))
	add(s.allOtherPickups(b))
	return out
}

func (s *screener) allOtherPickups(b *baseline) (out []*hypothesis) {
	s.otherPickups(b, math.MaxInt, func(h *hypothesis) bool {
		out = append(out, h)
		return true
	})
	return out
}

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-6*(1+math.Abs(b)) }

// Every way in which evidence is worked out from a mounting's surroundings agrees with
// the dense covariance of the whole record, as does the bound on it.
func TestEvidenceAgreesWithDenseCovariances(t *testing.T) {
	for _, file := range []string{"sample-shop", "slips"} {
		s := fitted(t, celltest.File(t, file, "readings.csv"))
		weighed := map[string]int{}
		for k, m := range s.mountings {
			if k%4 > 0 {
				continue
			}
			b := s.baselineOf(m)
			d := s.dense(m)
			log, form, cells := d.conditional(t, []string{b.pickup}, nil)
			if got := b.levels.rest + b.density.square; !near(got, form) || b.levels.cells != cells {
				t.Errorf("%s, mounting %d: quadratic form %.9g of %d cells, want %.9g of %d", file, k, got, b.levels.cells, form, cells)
			}
			one, two, all := b.mostGains()
			for _, h := range s.someHypotheses(b) {
				h.mounting = k
				s.weigh(h, b, math.Inf(-1))
				j := b.known(s.jointWith(b, h.pickups[len(h.pickups)-1]))
				filed := student(j.cells, b.density.halfLogDet, j.rest+b.density.square)
				corrected := s.corrected(h, b, j, math.Inf(-1))
				got := student(j.cells, corrected.halfLogDet, j.rest+corrected.square) - filed
				want := d.with(s, h).student(t, h.pickups, nil) - d.student(t, h.pickups, nil)
				if !near(got, want) {
					t.Errorf("%s, mounting %d, %s %v: ln of the likelihood ratio %.9g, want %.9g", file, k, h.kind, h.strings, got, want)
				}
				if most := map[int]float64{1: one, 2: two}[len(h.touched)]; len(h.touched) < 3 && got-b.lists > most+1e-9 || len(h.pickups) == 1 && got-b.lists > all+1e-9 {
					t.Errorf("%s, mounting %d, %s %v: gains %.6g, at most %.6g of %.6g", file, k, h.kind, h.strings, got-b.lists, most, all)
				}
				weighed[h.kind]++
			}
			last := m[len(m)-1]
			extra := map[int]float64{last: unknownSD * unknownSD}
			got := b.filedDensity(&b.alone, []int{last}, &b.unexpected)
			if want := d.student(t, []string{b.pickup}, extra) - student(cells, log, form); !near(got-b.logLikelihood, want) {
				t.Errorf("%s, mounting %d: unknown level: %.9g, want %.9g", file, k, got-b.logLikelihood, want)
			}
		}
		if len(weighed) < 7 {
			t.Errorf("%s: only %v", file, weighed)
		}
	}
}

// A corrected mounting whose likelihood is given up early would have had too little.
func TestHypothesesAreGivenUpForWantOfEvidence(t *testing.T) {
	mixedUp := madeShop(10, 1)
	for i := range mixedUp.Cells[:6] { // so far off that the cells of two pickups leave less than it adds
		c := &mixedUp.Cells[i]
		c.Remount(func(m *cell.Mounting) { m.Pickup, m.Session = "P00007", "s009" })
		c.Mean += 0.4 * float64(i%3)
	}
	s := fitted(t, mixedUp)
	given, kept := 0, 0
	for _, m := range s.mountings {
		b := s.baselineOf(m)
		for _, h := range append(s.someHypotheses(b), s.allOtherPickups(b)...) {
			s.put(h)
			exact := s.jointWith(b, h.corrected[h.touched[0]].Pickup)
			rough := *exact
			if b.known(exact); rough.rest < 0 || rough.rest > exact.rest+1e-9 {
				t.Errorf("%s: %.6g left of other cells, at least %.6g", h.kind, exact.rest, rough.rest)
			}
			d := s.corrected(h, b, exact, math.Inf(-1))
			likelier := student(exact.cells, d.halfLogDet, exact.rest+d.square) - student(exact.cells, b.density.halfLogDet, exact.rest+b.density.square)
			for _, least := range []float64{-3, 0, 5} {
				switch early := s.corrected(h, b, &rough, least); {
				case early == nil && likelier > least+1e-9:
					t.Errorf("%s: given up at %g, and has %g", h.kind, least, likelier)
				case early == nil:
					given++
				default:
					kept++
				}
			}
		}
	}
	if given < 50 || kept < 10 {
		t.Errorf("given up %d, kept %d", given, kept)
	}
}

// The slope and the evidence for it, by the textbook's formulas for one
// coefficient: generalised least squares, and the densities of what it leaves
// when the coefficient scatters by sd and by sd0.
func TestSlopeAgreesWithDensities(t *testing.T) {
	s := fitted(t, celltest.File(t, "sample-shop", "readings.csv"))
	m := s.mountings[0]
	b := s.baselineOf(m)
	along := make([]float64, len(m))
	for x := range m {
		along[x] = float64(x)/5 - 0.5
	}
	const own, ownVar, sd, sd0 = 0.1, 0.006, 0.15, 0.02
	d := s.dense(m)
	cells := make([]int, len(s.cells))
	for i := range cells {
		cells[i] = i
	}
	cov, miss := d.covariance(cells, nil)
	density := func(sd float64) float64 {
		n := len(cells)
		v := mat.NewSymDense(n+1, nil)
		y, z := mat.NewVecDense(n+1, nil), mat.NewVecDense(n+1, nil)
		for x := range n {
			y.SetVec(x, miss.AtVec(x))
			for k := x; k < n; k++ {
				v.SetSym(x, k, cov.At(x, k))
			}
		}
		for x, i := range m {
			z.SetVec(i, along[x])
		}
		y.SetVec(n, own)
		z.SetVec(n, 1)
		v.SetSym(n, n, ownVar)
		v.SymRankOne(v, sd*sd, z)
		var chol mat.Cholesky
		chol.Factorize(v)
		var w mat.VecDense
		if err := chol.SolveVecTo(&w, y); err != nil {
			t.Fatal(err)
		}
		return -chol.LogDet()/2 - mat.Dot(&w, y)/2
	}
	_, evidence := b.slope(along, own, ownVar, sd, sd0)
	if want := density(sd) - density(sd0); !near(evidence, want) {
		t.Errorf("evidence: got %.9g, want %.9g", evidence, want)
	}
}

// Weights in the robust fit follow from what the other cells of a pickup let expect: by
// the inverse of its dense covariance, the shared unknowns given.
func TestDistancesAgreeWithDenseCovariances(t *testing.T) {
	s := fitted(t, celltest.File(t, "slips", "readings.csv"))
	m := s.levels
	d := s.dense(nil)
	before := slices.Clone(m.weight)
	zs := make([]float64, len(m.cells))
	p := m.all[1]
	shared := make([]float64, len(m.mean))
	w := reweighing{opened: newOpened(m)}
	w.open(p)
	w.reweigh(m.inverses[1], shared, zs)
	var cells []int
	for _, i := range p.cells {
		if !d.rows[i].unknown {
			cells = append(cells, i)
		}
	}
	v := mat.NewSymDense(len(cells), nil)
	r := mat.NewVecDense(len(cells), nil)
	for x, i := range cells {
		for y := x; y < len(cells); y++ {
			v.SetSym(x, y, d.local(i, cells[y]))
		}
		v.SetSym(x, x, v.At(x, x)+d.rows[i].noise/before[i])
		r.SetVec(x, d.rows[i].residual)
	}
	var inverse mat.Dense
	if err := inverse.Inverse(v); err != nil {
		t.Fatal(err)
	}
	var e mat.VecDense
	e.MulVec(&inverse, r)
	for x, i := range cells {
		noise := d.rows[i].noise
		variance := 1/inverse.At(x, x) - noise/before[i] + noise
		if want := math.Abs(e.AtVec(x)) / inverse.At(x, x) / math.Sqrt(max(variance, noise)); !near(zs[i], want) {
			t.Errorf("cell %d: %.9g standard deviations, want %.9g", i, zs[i], want)
		}
	}
}

// staggeredShop is a shop that sets the poles of its pickups for every mounting.
func staggeredShop(pickups, mountings int) *cell.Data {
	d := madeShop(pickups, mountings)
	r := rand.New(rand.NewPCG(2, 2))
	of := curve.Curve{Excite: profiles.Travel, Wraps: []profiles.Wrap{profiles.Nickel}, Pitch: true}
	var theta []float64
	for _, p := range of.Priors() {
		theta = append(theta, p.Mean)
	}
	for i := range d.Cells {
		c := &d.Cells[i]
		c.Remount(func(m *cell.Mounting) { m.Session = m.Pickup + m.Session }) // sessions are about one pickup each
		before := of.Predict(theta, of.CellSite(c, 6), 0)
		c.PoleHeight = math.Round(20+180*r.Float64()) / 100
		c.Mean += of.Predict(theta, of.CellSite(c, 6), 0) - before
	}
	return d
}

// A list of pole heights that is excluded for little would have had too little evidence, and
// most are excluded so.
func TestListsAreExcludedForWantOfEvidence(t *testing.T) {
	d := staggeredShop(20, 12)
	for i := range d.Cells[:12] { // the first two mountings were of another pickup
		d.Cells[i].Remount(func(m *cell.Mounting) { m.Pickup, m.Session = "P00007", "s099"+m.Session })
	}
	s := fitted(t, d)
	excluded, kept := 0, 0
	for k, m := range s.mountings {
		if k%7 > 0 && s.cells[m[0]].Pickup != "P00007" {
			continue
		}
		b := s.baselineOf(m)
		for i := range m {
			b.renamed = append(b.renamed[:i], *s.cells[m[i]])
		}
		h, o := s.mixedUp(b)
		for _, of := range s.lists.group(s, m).pickups {
			if s.cells[s.mountings[of[0]][0]].Pickup == b.pickup {
				continue
			}
			for _, least := range []float64{4, 12} {
				s.beginRough(b)
				*o = other{of[0], true, len(of)}
				s.beginPickup(b, h, o.mounting, least)
				for _, list := range of {
					o.mounting = list
					switch enough := s.corrected(h, b, s.jointWith(b, s.cells[s.mountings[list][0]].Pickup), least) != nil; {
					case !s.excludes(b, list):
						kept++
					case enough:
						t.Errorf("mounting %d as %d: excluded, and may have %g", k, list, least)
					default:
						excluded++
					}
				}
			}
		}
	}
	if excluded < 5*kept || kept < 10 {
		t.Errorf("excluded %d, kept %d", excluded, kept)
	}
}

// Others are as many as are gone through, however they are counted.
func TestOthersAreCounted(t *testing.T) {
	for _, d := range []*cell.Data{celltest.File(t, "slips", "readings.csv"), madeShop(20, 4), staggeredShop(10, 4)} {
		s := fitted(t, d)
		counted := 0
		for _, m := range s.mountings {
			b, n := s.baselineOf(m), 0
			s.eachOther(b, anyPickup, func(other) bool { n++; return true })
			if got := s.countOthers(b, math.MaxInt); got != n {
				t.Errorf("%s: %d others, want %d", b.pickup, got, n)
			}
			counted += n
		}
		if counted == 0 {
			t.Error("no others")
		}
	}
}
