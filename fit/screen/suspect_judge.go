package screen

import (
	"math"
	"slices"
	"strings"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/mat"
)

// A judge says how likely the levels of some cells are as the rest of the
// record has it: the falloff model made linear at a robust fit, with the usual
// scatter of its effects. Unlike the fit of a model it is quick, does not look for
// the scatter's components, and can leave any pickup out at little cost.
//
// Shared unknowns (parameters, batches, strings, slots) and what is local to a
// pickup (its level, its poles, its mountings) are normal, so that the levels of
// one pickup are jointly normal given the others. Their likelihood is taken as
// Student's with judgeDF degrees of freedom, since the scatter is not quite known.
type judge struct {
	curve  curve.Curve
	theta  []float64 // the curve's parameters
	cells  []cell.Cell
	last   []int // of each cell's pickup: its highest string
	take   float64
	scale  float64 // this record's scatter beside the usual
	cols   map[string]int
	mean   []float64 // of the shared unknowns before there are data; parameters from Theta
	sd     []float64
	weight []float64
	doubt  []float64 // variance to add to a cell's own, see screener
	rows   []row
	groups map[string][]int
	infos  map[string]*info
	total  *info
	known  map[string]*info
}

const (
	judgeDF     = 8
	judgeRounds = 8
	judgeClip   = 2.5  // standard deviations from which a cell counts less
	judgePrior  = 20   // cells that the usual scatter is worth
	unknownSD   = 0.5  // ln v, of a level that a mistake made
	lostSD      = 2    // ln v, of a level under lengths that cannot be
	mostScale   = 3    // a record that scatters more than this many times the usual is not judged by its own
	leastScale  = 0.75 // nor is one that scatters less
)

// row is a cell as the judge sees it.
type row struct {
	pickup, session string
	string          int
	lost            bool      // nothing is known of its level
	miss            float64   // ln v less its prediction
	a               []float64 // by how much the prediction goes with the shared unknowns
	lift            float64   // slope with the height of all strings, ln v per mm
	noise           float64   // variance of its own
}

// info is what data say of the shared unknowns: precision, and precision times
// estimate; of solved ones covariance and estimate.
type info struct {
	m *mat.SymDense
	v []float64
}

// newJudge fits cells; lost ones are of no known level.
func newJudge(cells []cell.Cell, lost []bool, doubt []float64) *judge {
	excite, _, _ := cell.OneExcite(cells)
	j := &judge{curve: curve.Curve{Excite: excite, Pitch: true}, cells: cells, doubt: doubt, scale: 1, cols: map[string]int{}, groups: map[string][]int{}}
	var sites []*curve.Site
	for i := range cells {
		j.curve.Pitch = j.curve.Pitch && cells[i].Freq > 0
		sites = append(sites, &curve.Site{Wrap: cells[i].Wrap})
		j.groups[cells[i].Pickup] = append(j.groups[cells[i].Pickup], i)
	}
	j.curve.Wraps = curve.WrapsOf(sites)
	ends := cell.LastStrings(cells)
	for i := range cells {
		j.last = append(j.last, ends[cells[i].Pickup])
		j.weight = append(j.weight, 1)
	}
	j.take = takeVariance(cells)
	j.layOut()
	for round := range judgeRounds {
		j.look(lost)
		post := j.total.solved()
		j.weigh(post.v, round > judgeRounds/2)
		for k := range j.theta {
			j.theta[k] += post.v[k]
		}
	}
	j.look(lost)
	return j
}

// takeVariance is that of one take about its cell's mean.
func takeVariance(cells []cell.Cell) float64 {
	var ss, df float64
	for i := range cells {
		ss += cells[i].SD * cells[i].SD * float64(cells[i].Takes-1)
		df += float64(cells[i].Takes - 1)
	}
	if df == 0 {
		return 0.03 * 0.03 // the usual scatter of a pluck, our assumption
	}
	return ss / df
}

// layOut numbers the shared unknowns and starts them at their priors.
func (j *judge) layOut() {
	for _, p := range j.curve.Priors() {
		j.theta = append(j.theta, p.Mean)
		j.mean, j.sd = append(j.mean, p.Mean), append(j.sd, p.SD)
	}
	for _, e := range curve.Effects {
		for i := range j.cells {
			key := e.Key(&j.cells[i])
			if _, ok := j.cols[key]; ok || e.Local {
				continue
			}
			j.cols[key] = len(j.mean)
			j.mean, j.sd = append(j.mean, 0), append(j.sd, e.Spread.SD)
		}
	}
}

// look takes every cell's row at the last estimates and adds up what all say.
func (j *judge) look(lost []bool) {
	j.rows = j.rows[:0]
	for i := range j.cells {
		r := j.row(&j.cells[i], j.last[i])
		r.lost = r.lost || lost[i]
		r.noise += j.doubt[i]
		j.rows = append(j.rows, r)
	}
	n := len(j.mean)
	j.infos, j.known = map[string]*info{}, map[string]*info{}
	j.total = &info{mat.NewSymDense(n, nil), make([]float64, n)}
	for k, sd := range j.sd {
		precision := 1 / (sd * sd)
		if k >= len(j.theta) {
			precision /= j.scale * j.scale
		}
		j.total.m.SetSym(k, k, precision)
		if k < len(j.theta) {
			j.total.v[k] = precision * (j.mean[k] - j.theta[k])
		}
	}
	for _, p := range sortedKeys(j.groups) {
		j.infos[p] = j.told(j.groups[p])
		j.total.add(j.infos[p], 1)
	}
}

func sortedKeys[V any](m map[string]V) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// row is a cell at the last estimates. Effects of its own that no cell of the
// record shares are noise to it.
func (j *judge) row(c *cell.Cell, last int) row {
	r := row{pickup: c.Pickup, session: c.Session, string: c.String, a: make([]float64, len(j.mean)), lost: c.Excite != j.curve.Excite}
	s := j.curve.CellSite(c, last)
	r.lift = j.curve.Gradient(r.a[:len(j.theta)], j.theta, s, 0)
	r.miss = c.Mean - j.curve.Predict(j.theta, s, 0)
	sigma := curve.ResidualPrior.SD * j.scale
	r.noise = sigma*sigma + j.take/float64(max(1, c.Takes))
	for _, e := range curve.Effects {
		if e.Local {
			continue
		}
		if col, ok := j.cols[e.Key(c)]; ok {
			r.a[col] = 1
		} else {
			r.noise += e.Spread.SD * e.Spread.SD * j.scale * j.scale
		}
	}
	r.lost = r.lost || !solve.Finite(r.miss)
	return r
}

// local is what two cells share that their pickup has alone.
func (j *judge) local(a, b *row) float64 {
	if a.pickup != b.pickup {
		return 0
	}
	v := square(curve.Effects[0].Spread.SD)
	if a.string == b.string {
		v += square(curve.Effects[curve.PoleEffect].Spread.SD)
	}
	if a.session == b.session {
		v += square(curve.Effects[curve.SetupEffect].Spread.SD) * a.lift * b.lift
	}
	return v * square(j.scale)
}

// told is what cells of one pickup say of the shared unknowns.
func (j *judge) told(cells []int) *info {
	n := len(j.mean)
	out := &info{mat.NewSymDense(n, nil), make([]float64, n)}
	cells = j.heard(cells)
	if len(cells) == 0 {
		return out
	}
	chol, ok := j.own(cells)
	if !ok {
		return out
	}
	a := mat.NewDense(len(cells), n, nil)
	miss := mat.NewVecDense(len(cells), nil)
	for x, i := range cells {
		a.SetRow(x, j.rows[i].a)
		miss.SetVec(x, j.rows[i].miss)
	}
	var w, m mat.Dense
	if chol.SolveTo(&w, a) != nil {
		return out
	}
	m.Mul(a.T(), &w)
	for i := range n {
		for k := i; k < n; k++ {
			out.m.SetSym(i, k, m.At(i, k))
		}
	}
	mat.NewVecDense(n, out.v).MulVec(w.T(), miss)
	return out
}

// heard leaves cells out of which nothing is known.
func (j *judge) heard(cells []int) []int {
	return slices.DeleteFunc(slices.Clone(cells), func(i int) bool { return j.rows[i].lost })
}

// own factorises the covariance of one pickup's cells when the shared unknowns
// are known.
func (j *judge) own(cells []int) (*mat.Cholesky, bool) {
	v := mat.NewSymDense(len(cells), nil)
	for x, i := range cells {
		for y := x; y < len(cells); y++ {
			v.SetSym(x, y, j.local(&j.rows[i], &j.rows[cells[y]]))
		}
		v.SetSym(x, x, v.At(x, x)+j.rows[i].noise/j.weight[i])
	}
	var chol mat.Cholesky
	return &chol, chol.Factorize(v)
}

// weigh sets the cells' weights from how far each lies from what the others of
// its pickup let expect, and from that this record's scatter.
func (j *judge) weigh(shared []float64, scale bool) {
	var zs []float64
	for _, p := range sortedKeys(j.groups) {
		cells := j.heard(j.groups[p])
		if len(cells) == 0 {
			continue
		}
		chol, ok := j.own(cells)
		if !ok {
			continue
		}
		r := mat.NewVecDense(len(cells), nil)
		for x, i := range cells {
			r.SetVec(x, j.rows[i].miss-inner(j.rows[i].a, shared))
		}
		var inverse mat.SymDense
		if chol.InverseTo(&inverse) != nil {
			continue
		}
		var e mat.VecDense
		e.MulVec(&inverse, r)
		for x, i := range cells {
			noise := j.rows[i].noise
			variance := 1/inverse.At(x, x) - noise/j.weight[i] + noise
			z := math.Abs(e.AtVec(x)) / inverse.At(x, x) / math.Sqrt(max(variance, noise))
			zs = append(zs, z)
			j.weight[i] = min(1, square(judgeClip/z))
		}
	}
	if !scale || len(zs) == 0 {
		return
	}
	slices.Sort(zs)
	n := float64(len(zs))
	seen := square(solve.MADScale * solve.Median(zs) * j.scale)
	j.scale = min(max(math.Sqrt((judgePrior+n*seen)/(judgePrior+n)), leastScale), mostScale)
}

func inner(a, b []float64) float64 {
	var s float64
	for i, v := range a {
		s += v * b[i]
	}
	return s
}

func (x *info) add(y *info, sign float64) {
	x.m.AddSym(x.m, scaledSym(y.m, sign))
	for i, v := range y.v {
		x.v[i] += sign * v
	}
}

func scaledSym(m *mat.SymDense, f float64) *mat.SymDense {
	var out mat.SymDense
	out.ScaleSym(f, m)
	return &out
}

// solved turns precision into covariance. Precisions have their priors in them,
// so that they can be inverted; where rounding says otherwise the priors'
// diagonal stands alone.
func (x *info) solved() *info {
	n := len(x.v)
	out := &info{mat.NewSymDense(n, nil), make([]float64, n)}
	var chol mat.Cholesky
	if !chol.Factorize(x.m) || chol.InverseTo(out.m) != nil {
		for i := range n {
			out.m.SetSym(i, i, 1/max(x.m.At(i, i), 1e-9))
		}
	}
	mat.NewVecDense(n, out.v).MulVec(out.m, mat.NewVecDense(n, x.v))
	return out
}

// without is what the record says of the shared unknowns when some pickups are
// left out.
func (j *judge) without(pickups []string) *info {
	key := strings.Join(pickups, "\x00")
	if x, ok := j.known[key]; ok {
		return x
	}
	rest := &info{mat.NewSymDense(len(j.mean), nil), slices.Clone(j.total.v)}
	rest.m.CopySym(j.total.m)
	for _, p := range pickups {
		if x, ok := j.infos[p]; ok {
			rest.add(x, -1)
		}
	}
	j.known[key] = rest.solved()
	return j.known[key]
}

// trial is the levels of some pickups' cells given those of all others.
type trial struct {
	j     *judge
	cells []int
	rest  *info
	rows  []row
	ac    *mat.Dense // rows' a times the covariance of the shared unknowns
	cov   *mat.SymDense
	miss  []float64
	filed float64 // likelihood, where it was worked out
}

// try lays out a trial of all cells of some pickups; the tested ones are taken at
// their word, the others by their weights.
func (j *judge) try(pickups []string, tested []int) *trial {
	slices.Sort(pickups)
	pickups = slices.Compact(pickups)
	t := &trial{j: j, rest: j.without(pickups)}
	for _, p := range pickups {
		t.cells = append(t.cells, j.groups[p]...)
	}
	n := len(t.cells)
	t.ac = mat.NewDense(n, len(j.mean), nil)
	t.cov = mat.NewSymDense(n, nil)
	t.miss = make([]float64, n)
	for x, i := range t.cells {
		r := j.rows[i]
		if !slices.Contains(tested, i) {
			r.noise /= j.weight[i]
		}
		t.rows = append(t.rows, r)
		t.fill(x)
	}
	for x := range t.rows {
		t.cover(x)
	}
	return t
}

// fill derives what goes with one row.
func (t *trial) fill(x int) {
	r := &t.rows[x]
	t.miss[x] = 0
	if !r.lost {
		t.miss[x] = r.miss - inner(r.a, t.rest.v)
	}
	mat.NewVecDense(len(r.a), t.ac.RawRowView(x)).MulVec(t.rest.m, mat.NewVecDense(len(r.a), r.a))
}

// cover fills one row of the covariance.
func (t *trial) cover(x int) {
	r := &t.rows[x]
	for y := range t.rows {
		o := &t.rows[y]
		v := 0.0
		if !r.lost && !o.lost {
			v = inner(t.ac.RawRowView(x), o.a) + t.j.local(r, o)
		}
		if x == y {
			v += r.noise
			if r.lost {
				v = lostSD * lostSD
			}
		}
		t.cov.SetSym(x, y, v)
	}
}

// changed is a trial in which some cells are other ones.
func (t *trial) changed(rows map[int]row) *trial {
	c := *t
	c.rows, c.miss, c.ac = slices.Clone(t.rows), slices.Clone(t.miss), mat.DenseCopyOf(t.ac)
	c.cov = mat.NewSymDense(len(t.rows), nil)
	c.cov.CopySym(t.cov)
	var places []int
	for x, i := range t.cells {
		if r, ok := rows[i]; ok {
			c.rows[x] = r
			c.fill(x)
			places = append(places, x)
		}
	}
	for _, x := range places {
		c.cover(x)
	}
	return &c
}

// likelihood is the logarithm of Student's density of the levels, up to what all
// trials of the same cells share.
func (t *trial) likelihood() float64 {
	var chol mat.Cholesky
	if !chol.Factorize(t.cov) {
		return math.Inf(-1)
	}
	n := len(t.miss)
	r := mat.NewVecDense(n, t.miss)
	var x mat.VecDense
	if chol.SolveVecTo(&x, r) != nil {
		return math.Inf(-1)
	}
	return -chol.LogDet()/2 - (judgeDF+float64(n))/2*math.Log1p(mat.Dot(r, &x)/judgeDF)
}

// unknown is the trial when some cells' levels are a mistake of no known kind.
func (t *trial) unknown(cells []int) *trial {
	rows := map[int]row{}
	for x, i := range t.cells {
		if slices.Contains(cells, i) {
			r := t.rows[x]
			r.noise += unknownSD * unknownSD
			rows[i] = r
		}
	}
	return t.changed(rows)
}

// slope is by how much levels go up along a covariate of some cells, of which the
// takes themselves say own with the variance ownVar: estimate and logarithm of
// the evidence for a slope of the standard deviation sd against one of sd0.
func (t *trial) slope(along map[int]float64, own, ownVar, sd, sd0 float64) (slope, evidence float64) {
	z := mat.NewVecDense(len(t.cells), nil)
	for x, i := range t.cells {
		if v, ok := along[i]; ok && !t.rows[x].lost {
			z.SetVec(x, v)
		}
	}
	var chol mat.Cholesky
	var w mat.VecDense
	if !chol.Factorize(t.cov) || chol.SolveVecTo(&w, z) != nil {
		return 0, math.Inf(-1)
	}
	precision := mat.Dot(z, &w) + 1/ownVar
	sum := mat.Dot(&w, mat.NewVecDense(len(t.miss), t.miss)) + own/ownVar
	gain := func(sd float64) float64 {
		shrink := 1 / (precision + 1/(sd*sd))
		return sum*sum*shrink/2 - math.Log1p(precision*sd*sd)/2
	}
	return sum / (precision + 1/(sd*sd)), gain(sd) - gain(sd0)
}

func square(v float64) float64 { return v * v }
