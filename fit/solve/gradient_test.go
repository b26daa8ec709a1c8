package solve

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// randomMixed is a model with all that a Mixed can have: local and shared terms, some
// with covariates, observations without a level, priors, weights and known variances.
func randomMixed(rng *rand.Rand, n, groups int) *Mixed {
	m := &Mixed{
		X: mat.NewDense(n, 3, nil), Y: make([]float64, n), Known: make([]float64, n), Weight: make([]float64, n), Group: make(Levels, n),
		Prior: []Normal{{}, {0.5, 1}, {}}, Sigma: Spread{0.3, 4},
		Terms: []Term{
			{Name: "group", Local: true, Spread: Spread{0.4, 3}},
			{Name: "shared"},
			{Name: "slopes", Local: true, Z: make([][]float64, n)},
			{Name: "leaf", Local: true, Z: make([][]float64, n)},
			{Name: "shared slopes", Z: make([][]float64, n)},
		},
	}
	for k := range m.Terms {
		m.Terms[k].Level = make(Levels, n)
	}
	for i := range n {
		g := i / 2 * groups / ((n + 1) / 2)
		m.Group[i] = int32(g)
		m.X.SetRow(i, []float64{1, rng.NormFloat64(), float64(i % 2)})
		m.Y[i], m.Known[i], m.Weight[i] = 3*rng.NormFloat64(), 0.1*rng.Float64(), 0.5+rng.Float64()
		m.Terms[0].Level[i], m.Terms[1].Level[i], m.Terms[2].Level[i] = int32(g), rng.Int32N(5)-1, int32(2*g+i%2)
		m.Terms[3].Level[i], m.Terms[4].Level[i] = int32(i/2), rng.Int32N(3)
		if i/2%7 == 3 {
			m.Terms[3].Level[i] = -1
		}
		m.Terms[2].Z[i], m.Terms[4].Z[i] = []float64{1, rng.NormFloat64()}, []float64{1, rng.NormFloat64()}
		m.Terms[3].Z[i] = []float64{rng.NormFloat64()}
	}
	return m
}

// The exact gradient is the slope of the criterion, by differences.
func TestGradientIsTheCriterionsSlope(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 7))
	for trial := range 6 {
		m := randomMixed(rng, 60+300*trial, 4+trial)
		lay, err := m.layOut()
		if err != nil {
			t.Fatal(err)
		}
		par := make([]float64, lay.width())
		for i := range par {
			par[i] = 0.2 + 0.5*rng.Float64()
		}
		par[0] = -0.7
		s, err := lay.solve(par)
		if err != nil {
			t.Fatal(err)
		}
		got := s.gradient()
		for i := range par {
			at := func(h float64) float64 {
				moved := append([]float64(nil), par...)
				moved[i] += h
				s, err := lay.solve(moved)
				if err != nil {
					t.Fatal(err)
				}
				return s.criterion
			}
			const h = 1e-3
			want := (8*(at(h)-at(-h)) - (at(2*h) - at(-2*h))) / (12 * h)
			if math.Abs(got[i]-want) > 1e-6*(1+math.Abs(want)) {
				t.Errorf("trial %d, parameter %d: got %.9g, differences say %.9g", trial, i, got[i], want)
			}
		}
	}
}

// leaveOneCovariate is randomMixed with one covariate a term.
func simpleMixed(rng *rand.Rand, n, groups int) *Mixed {
	m := randomMixed(rng, n, groups)
	m.Terms = []Term{m.Terms[0], m.Terms[1], m.Terms[3]}
	for k := range m.Terms {
		m.Terms[k].Spread = Spread{0.4, 3}
	}
	return m
}

// The gradient by logarithms, from sums, is the one by parameters, from observations.
func TestGradientByLogarithms(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 7))
	for trial := range 5 {
		m := simpleMixed(rng, 60+200*trial, 4+trial)
		m.Weight[3] = 0
		if trial == 4 { // every observation is a class, of which a portion holds not all
			m.Terms[1].Z = m.Terms[2].Z
		}
		s, err := m.solveAt(0.4, []float64{0.3, 0.7, 0.5})
		if err != nil {
			t.Fatal(err)
		}
		want := s.gradient()
		for k := range m.Terms {
			want[k+1] *= s.factors[k][0]
		}
		for k, got := range s.logGradient() {
			if math.Abs(got-want[k]) > 1e-10*(1+math.Abs(want[k])) {
				t.Errorf("trial %d, standard deviation %d: got %.12g, want %.12g", trial, k, got, want[k])
			}
		}
	}
}

// givenRows are observations that a model holds, as if they were worked out.
type givenRows struct {
	y []float64
	x *mat.Dense
	z [][]float64
}

func (g *givenRows) Len() int { return len(g.y) }

func (g *givenRows) Fixed() int {
	_, n := g.x.Dims()
	return n
}

func (g *givenRows) Row(i int, fixed []float64) (y, covariate float64) {
	copy(fixed, g.x.RawRowView(i))
	return g.y[i], g.z[i][0]
}

// Observations that are worked out say what those say that a model holds, whether the term
// that varies is eliminated first or not.
func TestObservationsMayBeWorkedOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 7))
	for _, varying := range []int{2, 1} {
		m := simpleMixed(rng, 260, 6)
		m.Weight[3] = 0
		m.Terms[varying].Z = m.Terms[2].Z
		if varying != 2 {
			m.Terms[2].Z = nil
		}
		given := *m
		given.Y, given.X, given.Given = nil, nil, &givenRows{m.Y, m.X, m.Terms[varying].Z}
		given.Terms = slices.Clone(m.Terms)
		given.Terms[varying].Z, given.Terms[varying].Varies = nil, true
		want, wantSigma, wantSDs, err := m.Step(0.4, []float64{0.3, 0.7, 0.5})
		if err != nil {
			t.Fatal(err)
		}
		got, gotSigma, gotSDs, err := given.Step(0.4, []float64{0.3, 0.7, 0.5})
		if err != nil {
			t.Fatal(err)
		}
		if d := floats.Distance(append(gotSDs, gotSigma), append(wantSDs, wantSigma), math.Inf(1)); d > 1e-12 {
			t.Errorf("term %d varies: the next standard deviations differ by %g", varying, d)
		}
		if d := floats.Distance(append(got.Beta, got.Residual...), append(want.Beta, want.Residual...), math.Inf(1)); d > 1e-11 {
			t.Errorf("term %d varies: estimates and residuals differ by %g", varying, d)
		}
	}
}

// What was solved stays as it is when the model is solved anew in the same memory.
func TestSolvedStaysWhenSolvedAnew(t *testing.T) {
	m := simpleMixed(rand.New(rand.NewPCG(9, 7)), 260, 6)
	one, other := []float64{0.3, 0.7, 0.5}, []float64{0.9, 0.1, 1.5}
	said := func(f *MixedFit, s *Solved) []float64 {
		rest, err := s.WithoutGroup(2)
		if err != nil {
			t.Fatal(err)
		}
		return slices.Concat(f.Beta, f.Residual, f.U[0][3], f.U[1][1], f.U[2][5], rest.Beta)
	}
	f, err := m.At(0.4, one)
	if err != nil {
		t.Fatal(err)
	}
	s, err := m.Solve(0.4, one)
	if err != nil {
		t.Fatal(err)
	}
	want := said(f, s)
	for range 3 {
		if _, _, _, err := m.Step(0.2, other); err != nil {
			t.Fatal(err)
		}
	}
	if got := said(f, s); !slices.Equal(got, want) {
		t.Errorf("got %v, before %v", got, want)
	}
	if again, err := m.At(0.4, one); err != nil || !slices.Equal(said(again, s), want) {
		t.Errorf("solved at the same again: not the same (%v)", err)
	}
}

// The average information is what its definition says, with the observations' projection
// in full.
func TestAverageInformationIsItsDefinition(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 7))
	for trial := range 4 {
		m := simpleMixed(rng, 60+40*trial, 4+trial)
		m.Weight[3] = 0
		s, err := m.solveAt(0.4, []float64{0.3, 0.7, 0.5})
		if err != nil {
			t.Fatal(err)
		}
		n, terms := len(m.Y), len(m.Terms)
		work := mat.NewDense(n, 1+terms, nil) // f
		for i, w := range s.weight {
			if w == 0 {
				continue
			}
			work.Set(i, 0, s.weightSlope(i)*s.residual[i])
			for k := range terms {
				if l := m.Terms[k].Level.At(i); l >= 0 {
					work.Set(i, k+1, 2*s.loading(k, i, 0)*s.level(k, l)[0])
				}
			}
		}
		var info, left mat.Dense
		left.Mul(projectionOf(s), work)
		info.Mul(work.T(), &left)
		got := s.averageInformation()
		for j := range 1 + terms {
			for k := range 1 + terms {
				if want := info.At(j, k); math.Abs(got.At(j, k)-want) > 1e-8*(1+math.Abs(want)) {
					t.Errorf("trial %d, %d with %d: got %.12g, want %.12g", trial, j, k, got.At(j, k), want)
				}
			}
		}
	}
}

// projectionOf is P = W - W A C^-1 A'W, with all unknowns in one matrix.
func projectionOf(s *solution) *mat.Dense {
	first, unknowns := make([]int, len(s.sizes)), max(s.nShared, 1) // where a group's own stand
	for g, size := range s.sizes {
		first[g], unknowns = unknowns, unknowns+size
	}
	n := len(s.Y)
	a, weighted := mat.NewDense(n, unknowns, nil), mat.NewDense(n, unknowns, nil)
	for i := range n {
		var r row
		r.write(s, i)
		own, shared := r.split(s.layout, i)
		for _, e := range own {
			a.Set(i, first[s.groupOf(i)]+e.at, e.v)
		}
		for _, e := range shared {
			a.Set(i, e.at, e.v)
		}
		for j := range unknowns {
			weighted.Set(i, j, s.weight[i]*a.At(i, j))
		}
	}
	var c, solved, p mat.Dense
	c.Mul(a.T(), weighted)
	for j := range unknowns {
		known := 1.0
		if j < s.nFixed {
			if known = 0; s.priorSD(j) > 0 {
				known = 1 / Square(s.priorSD(j))
			}
		}
		c.Set(j, j, c.At(j, j)+known)
	}
	if err := solved.Solve(&c, weighted.T()); err != nil {
		panic(err)
	}
	p.Mul(weighted, &solved)
	p.Scale(-1, &p)
	for i, w := range s.weight {
		p.Set(i, i, p.At(i, i)+w)
	}
	return &p
}

// Steps that are repeated lead where the search does.
func TestStepsLeadToTheOptimum(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 7))
	for range 5 {
		m := simpleMixed(rng, 200, 9)
		want, err := m.Fit()
		if err != nil {
			t.Fatal(err)
		}
		sigma, sds := 0.3, []float64{0.4, 0.4, 0.4}
		for range 30 {
			if _, sigma, sds, err = m.Step(sigma, sds); err != nil {
				t.Fatal(err)
			}
		}
		for k, sd := range append([]float64{sigma}, sds...) {
			w := want.Sigma
			if k > 0 {
				w = math.Abs(want.SD(k-1, 0))
			}
			if math.Abs(sd-w) > 1e-6*w {
				t.Errorf("standard deviation %d: %.9g by steps, %.9g by the search", k, sd, w)
			}
		}
	}
}

// Leaving out a group, or some observations, is what a model of the others says; also where
// there are so many unknowns that it is worked out by few of them.
func TestLeavingOutIsSolvingTheOthers(t *testing.T) {
	for _, many := range []bool{false, true} {
		t.Run(fmt.Sprintf("many %v", many), func(t *testing.T) {
			if many {
				setMany(t)
			}
			leaveOut(t, simpleMixed(rand.New(rand.NewPCG(3, 7)), 300, 12))
		})
	}
}

// setMany has any model be one of many unknowns.
func setMany(t *testing.T) {
	unknowns, shared := manyUnknowns, mostShared
	manyUnknowns, mostShared = 0, 0
	t.Cleanup(func() { manyUnknowns, mostShared = unknowns, shared })
}

func leaveOut(t *testing.T, m *Mixed) {
	for i, g := range m.Group { // levels that not all groups have
		m.Terms[1].Level[i] = g/3 + 6*int32(i%3)
	}
	sds := []float64{0.5, 0.3, 0.7}
	s, err := m.Solve(0.4, sds)
	if err != nil {
		t.Fatal(err)
	}
	compare := func(what string, got *Shared, skip []int) {
		t.Helper()
		rest := *m
		rest.lay, rest.Weight = nil, append([]float64(nil), m.Weight...)
		for _, i := range skip {
			rest.Weight[i] = 0
		}
		want, err := rest.At(0.4, sds)
		if err != nil {
			t.Fatal(err)
		}
		for j, b := range got.Beta {
			if math.Abs(b-want.Beta[j]) > 1e-9 {
				t.Errorf("without %s: fixed effect %d is %.12g, want %.12g", what, j, b, want.Beta[j])
			}
		}
		for l, want := range want.U[1] {
			if u := got.U(1, l); s.s.places[1][l] >= 0 && math.Abs(u-want[0]) > 1e-9 {
				t.Errorf("without %s: level %d is %.12g, want %.12g", what, l, u, want[0])
			}
		}
	}
	without := func(what string, skip func(i int) bool) {
		t.Helper()
		var list []int
		for i := range m.Y {
			if skip(i) {
				list = append(list, i)
			}
		}
		got, err := s.Without(list)
		if err != nil {
			t.Fatal(err)
		}
		compare(what, got, list)
	}
	for g := range 12 {
		got, err := s.WithoutGroup(g)
		if err != nil {
			t.Fatal(err)
		}
		var own []int
		for i, of := range m.Group {
			if int(of) == g {
				own = append(own, i)
			}
		}
		compare("a group", got, own)
	}
	without("every third observation", func(i int) bool { return i%3 == 0 })
	without("some observations of two groups", func(i int) bool { return i%2 == 0 && (m.Group[i] == 3 || m.Group[i] == 7) })
	without("every third observation again", func(i int) bool { return i%3 == 0 })
}

// A model is the same where levels that one group alone has are taken for that group's own,
// as there are many unknowns: solution, criterion, gradient and next standard deviations.
func TestManyUnknownsAreTheSameModel(t *testing.T) {
	build := func() *Mixed {
		m := simpleMixed(rand.New(rand.NewPCG(5, 7)), 300, 12)
		for i := range m.Terms[1].Level { // levels of a shared term that are in one group
			if m.Group[i]%3 == 0 {
				m.Terms[1].Level[i] = 100 + m.Group[i]
			}
		}
		for k := range m.Terms {
			m.Terms[k].Spread = Spread{SD: 0.4, DF: 3}
		}
		m.Sigma = Spread{SD: 0.4, DF: 3}
		return m
	}
	sigma, sds := 0.4, []float64{0.5, 0.3, 0.7}
	step := func() (*MixedFit, []float64, *solution, []float64) {
		m := build()
		fit, nextSigma, next, err := m.Step(sigma, sds)
		if err != nil {
			t.Fatal(err)
		}
		s, err := m.solveAt(sigma, sds)
		if err != nil {
			t.Fatal(err)
		}
		p, err := m.Posterior(sigma, sds)
		if err != nil {
			t.Fatal(err)
		}
		return fit, append(append(next, nextSigma), s.gradient()...), s, p.SDs(1)
	}
	want, wantNext, few, wantSDs := step()
	setMany(t)
	got, gotNext, many, gotSDs := step()
	if few.nShared <= many.nShared || many.nShared <= few.nFixed {
		t.Fatalf("%d and %d unknowns are shared", few.nShared, many.nShared)
	}
	close := func(what string, got, want []float64) {
		t.Helper()
		for j := range want {
			if math.Abs(got[j]-want[j]) > 1e-9*(1+math.Abs(want[j])) {
				t.Errorf("%s %d: %.12g, want %.12g", what, j, got[j], want[j])
			}
		}
	}
	close("fixed effect", got.Beta, want.Beta)
	close("next standard deviation, or slope", gotNext, wantNext)
	close("standard deviation of level", gotSDs, wantSDs)
	close("criterion", []float64{many.criterion, got.REML}, []float64{few.criterion, want.REML})
	for k := range want.U {
		for l := range want.U[k] {
			if want.U[k][l][0] != 0 {
				close(fmt.Sprintf("term %d, level %d", k, l), got.U[k][l], want.U[k][l])
			}
		}
	}
	for j := range got.Beta {
		close("covariance", mat.Row(nil, j, got.Cov), mat.Row(nil, j, want.Cov))
	}
}

// How far the observations of a group that was left out may lie from what is predicted,
// less the mean of that, is what the covariance of all observations says, written out.
func TestUnseenVariancesAreTheConditionalCovariance(t *testing.T) {
	for _, many := range []bool{false, true} {
		t.Run(fmt.Sprintf("many %v", many), func(t *testing.T) {
			m := simpleMixed(rand.New(rand.NewPCG(9, 7)), 60, 5)
			if many {
				setMany(t)
				for i := range m.Terms[1].Level { // levels that not all groups have
					m.Terms[1].Level[i] = m.Group[i]/2 + 4*int32(i%2)
				}
			}
			compareUnseen(t, m)
		})
	}
}

func compareUnseen(t *testing.T, m *Mixed) {
	sigma, sds := 0.4, []float64{0.5, 0.3, 0.7}
	for j := range m.Prior {
		m.Prior[j] = Normal{0.2, 1.5} // so that there is a covariance of all
	}
	s, err := m.Solve(sigma, sds)
	if err != nil {
		t.Fatal(err)
	}
	covariance := func(i, j int, weighed bool) float64 {
		var v float64
		for k := range m.Prior {
			v += m.X.At(i, k) * m.X.At(j, k) * Square(m.Prior[k].SD)
		}
		for k, term := range m.Terms {
			if l := term.Level[i]; l >= 0 && l == term.Level[j] {
				z := Square(sds[k])
				if term.Z != nil {
					z *= term.Z[i][0] * term.Z[j][0]
				}
				v += z
			}
		}
		switch {
		case i == j && weighed:
			v += (Square(sigma) + m.Known[i]) / m.Weight[i]
		case i == j:
			v += Square(sigma) + m.Known[i]
		}
		return v
	}
	for g := range 5 {
		rest, err := s.WithoutGroup(g)
		if err != nil {
			t.Fatal(err)
		}
		var own, others []int
		for i := range m.Y {
			if int(m.Group[i]) == g {
				own = append(own, i)
			} else {
				others = append(others, i)
			}
		}
		oo, og, gg := mat.NewDense(len(others), len(others), nil), mat.NewDense(len(others), len(own), nil), mat.NewDense(len(own), len(own), nil)
		oo.Apply(func(a, b int, _ float64) float64 { return covariance(others[a], others[b], true) }, oo)
		og.Apply(func(a, b int, _ float64) float64 { return covariance(others[a], own[b], true) }, og)
		gg.Apply(func(a, b int, _ float64) float64 { return covariance(own[a], own[b], false) }, gg)
		var solved, told, want mat.Dense
		if err := solved.Solve(oo, og); err != nil {
			t.Fatal(err)
		}
		told.Mul(og.T(), &solved)
		gg.Sub(gg, &told)
		centre := mat.NewDense(len(own), len(own), nil)
		centre.Apply(func(a, b int, _ float64) float64 {
			if a == b {
				return 1 - 1/float64(len(own))
			}
			return -1 / float64(len(own))
		}, centre)
		want.Product(centre, gg, centre.T())
		skipped := *m
		skipped.lay, skipped.Weight = nil, append([]float64(nil), m.Weight...)
		for _, i := range own {
			skipped.Weight[i] = 0
		}
		p, err := skipped.Posterior(sigma, sds)
		if err != nil {
			t.Fatal(err)
		}
		byPosterior := p.UnseenVariances(own)
		for i, v := range rest.UnseenVariances(own, 1) {
			if w := want.At(i, i); math.Abs(v-w) > 1e-9*w || math.Abs(byPosterior[i]-w) > 1e-9*w {
				t.Errorf("group %d, observation %d: %.12g, with weights of 0 %.12g, want %.12g", g, i, v, byPosterior[i], w)
			}
		}
	}
}

// The unit of a term's covariate changes the term's standard deviation by as much, and
// nothing else.
func TestFitInAnyUnitOfACovariate(t *testing.T) {
	build := func(unit float64) *Mixed {
		m := randomMixed(rand.New(rand.NewPCG(4, 7)), 240, 8)
		m.Terms = []Term{m.Terms[0], m.Terms[4]} // a group's level, and slopes with their intercepts
		for _, z := range m.Terms[1].Z {
			z[1] *= unit
		}
		return m
	}
	want, err := build(1).Fit()
	if err != nil {
		t.Fatal(err)
	}
	for _, unit := range []float64{1e-6, 1e-3, 1e3, 1e6} {
		got, err := build(unit).Fit()
		if err != nil {
			t.Errorf("times %g: %v", unit, err)
			continue
		}
		for what, pair := range map[string][2]float64{
			"sigma": {got.Sigma, want.Sigma}, "criterion": {got.REML, want.REML}, "slopes": {got.SD(1, 1) * unit, want.SD(1, 1)}, "intercepts": {got.SD(1, 0), want.SD(1, 0)},
		} {
			if math.Abs(pair[0]-pair[1]) > 1e-6*math.Abs(pair[1]) {
				t.Errorf("times %g: %s %.10g instead of %.10g", unit, what, pair[0], pair[1])
			}
		}
	}
}

// A few columns of the inverse are those of the whole one.
func TestFewColumnsOfAnInverse(t *testing.T) {
	const n, few = 40, 6
	rng := rand.New(rand.NewPCG(2, 9))
	e := newEquations(n)
	for i := range n {
		for j := i; j < n; j++ {
			e.matrix[i*n+j] = rng.NormFloat64()
		}
		e.matrix[i*n+i] = 50 * math.Exp(rng.NormFloat64())
	}
	s, err := e.factorize()
	if err != nil {
		t.Fatal(err)
	}
	want, got := s.inverse(n), s.columns(few)
	for i := range few {
		for j := range few {
			if math.Abs(got.At(i, j)-want.At(i, j)) > 1e-13 {
				t.Errorf("entry %d, %d: %.15g, want %.15g", i, j, got.At(i, j), want.At(i, j))
			}
		}
	}
}
