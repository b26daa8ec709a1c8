package screen

import (
	"maps"
	"math"
	"slices"
	"strings"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/mat"
)

// The settings of a levelModel: our assumptions.
const (
	fitRounds  = 8
	clipAt     = 2.5  // standard deviations from which a cell counts less
	scalePrior = 20   // cells that the usual scatter is worth
	mostScale  = 3    // scatter beside the usual: a record that scatters more is not judged by its own
	leastScale = 0.75 // nor is one that scatters less
)

// levelModel says what levels of some cells the rest of the record lets expect: the
// falloff model made linear at a robust fit, with the usual scatter of its effects.
// Unlike the fit of a model it is quick, does not estimate the scatter's components,
// and can leave any pickup out at little cost.
//
// Shared unknowns (parameters, batches, strings, slots) and what is local to a
// pickup (its level, its poles, its mountings) are normal, so that the levels of
// one pickup are jointly normal given the others: see conditional.
type levelModel struct {
	curve         curve.Curve
	theta         []float64 // the curve's parameters
	cells         []cell.Cell
	last          []int // of each cell's pickup: its highest string
	takeVariance  float64
	scale         float64        // this record's scatter beside the usual
	column        map[string]int // where a shared effect stands among the shared unknowns, by its key
	mean, sd      []float64      // prior of the shared unknowns; parameters first
	weight        []float64      // of each cell in the robust fit
	extraVariance []float64      // of each cell, see screener
	rows          []row
	byPickup      map[string][]int
	information   map[string]*information // of each pickup's cells
	total         *information            // of all cells and the priors
	leftOut       map[string]*estimate    // see leavingOut
}

// row is a cell with the model made linear about the last estimates.
type row struct {
	pickup, session string
	string          int
	unknown         bool      // nothing is known of its level
	residual        float64   // ln v less its prediction
	gradient        []float64 // of the prediction, by the shared unknowns
	lift            float64   // slope with the height of all strings, ln v per mm
	noise           float64   // variance of its own
}

// newLevelModel fits cells; the levels of impossible ones say nothing.
func newLevelModel(cells []cell.Cell, impossible []bool, extraVariance []float64) *levelModel {
	excite, _, _ := cell.OneExcite(cells)
	m := &levelModel{
		curve: curve.Curve{Excite: excite, Pitch: true}, cells: cells, takeVariance: cell.TakeVariance(cells), extraVariance: extraVariance,
		scale: 1, column: map[string]int{}, byPickup: map[string][]int{},
	}
	var sites []*curve.Site
	for i := range cells {
		m.curve.Pitch = m.curve.Pitch && cells[i].Freq > 0
		sites = append(sites, &curve.Site{Wrap: cells[i].Wrap})
		m.byPickup[cells[i].Pickup] = append(m.byPickup[cells[i].Pickup], i)
	}
	m.curve.Wraps = curve.WrapsOf(sites)
	ends := cell.LastStrings(cells)
	for i := range cells {
		m.last = append(m.last, ends[cells[i].Pickup])
		m.weight = append(m.weight, 1)
	}
	m.layOut()
	for round := range fitRounds {
		m.linearise(impossible)
		step := m.total.posterior().mean
		zs := m.reweigh(step)
		if round > fitRounds/2 {
			m.rescale(zs)
		}
		for k := range m.theta {
			m.theta[k] += step[k]
		}
	}
	m.linearise(impossible)
	return m
}

// layOut numbers the shared unknowns and starts them at their priors.
func (m *levelModel) layOut() {
	for _, p := range m.curve.Priors() {
		m.theta = append(m.theta, p.Mean)
		m.mean, m.sd = append(m.mean, p.Mean), append(m.sd, p.SD)
	}
	for _, e := range curve.Effects {
		for i := range m.cells {
			key := e.Key(&m.cells[i])
			if _, ok := m.column[key]; ok || e.Local {
				continue
			}
			m.column[key] = len(m.mean)
			m.mean, m.sd = append(m.mean, 0), append(m.sd, e.Spread.SD)
		}
	}
}

// linearise works out every cell's row at the last estimates and adds up the
// information of all.
func (m *levelModel) linearise(impossible []bool) {
	m.rows = m.rows[:0]
	for i := range m.cells {
		r := m.rowOf(&m.cells[i], m.last[i])
		r.unknown = r.unknown || impossible[i]
		r.noise += m.extraVariance[i]
		m.rows = append(m.rows, r)
	}
	m.information, m.leftOut = map[string]*information{}, map[string]*estimate{}
	m.total = m.priorInformation()
	for _, p := range slices.Sorted(maps.Keys(m.byPickup)) {
		m.information[p] = m.informationOf(m.byPickup[p])
		m.total.add(m.information[p], 1)
	}
}

// priorInformation is what is known of the shared unknowns before there are data:
// of parameters, how far they lie from the last estimates.
func (m *levelModel) priorInformation() *information {
	out := noInformation(len(m.mean))
	for k, sd := range m.sd {
		precision := 1 / (sd * sd)
		if k >= len(m.theta) {
			precision /= m.scale * m.scale
		}
		out.precision.SetSym(k, k, precision)
		if k < len(m.theta) {
			out.weighted[k] = precision * (m.mean[k] - m.theta[k])
		}
	}
	return out
}

// rowOf is the row of a cell at the last estimates. Shared effects of levels that no
// cell of the record has are noise to it.
func (m *levelModel) rowOf(c *cell.Cell, last int) row {
	r := row{pickup: c.Pickup, session: c.Session, string: c.String, gradient: make([]float64, len(m.mean)), unknown: c.Excite != m.curve.Excite}
	s := m.curve.CellSite(c, last)
	r.lift = m.curve.Gradient(r.gradient[:len(m.theta)], m.theta, s, 0)
	r.residual = c.Mean - m.curve.Predict(m.theta, s, 0)
	sigma := curve.ResidualPrior.SD * m.scale
	r.noise = sigma*sigma + m.takeVariance/float64(max(1, c.Takes))
	for _, e := range curve.Effects {
		if e.Local {
			continue
		}
		if col, ok := m.column[e.Key(c)]; ok {
			r.gradient[col] = 1
		} else {
			r.noise += e.Spread.SD * e.Spread.SD * m.scale * m.scale
		}
	}
	r.unknown = r.unknown || !solve.Finite(r.residual)
	return r
}

// localCovariance is the covariance of two cells by the effects that are local to
// their pickup.
func (m *levelModel) localCovariance(a, b *row) float64 {
	if a.pickup != b.pickup {
		return 0
	}
	v := solve.Square(curve.Effects[curve.PickupEffect].Spread.SD)
	if a.string == b.string {
		v += solve.Square(curve.Effects[curve.PoleEffect].Spread.SD)
	}
	if a.session == b.session {
		v += solve.Square(curve.Effects[curve.MountingEffect].Spread.SD) * a.lift * b.lift
	}
	return v * solve.Square(m.scale)
}

// informationOf is what cells of one pickup say of the shared unknowns.
func (m *levelModel) informationOf(cells []int) *information {
	n := len(m.mean)
	out := noInformation(n)
	cells = m.observed(cells)
	if len(cells) == 0 {
		return out
	}
	chol, ok := m.factorLocal(cells)
	if !ok {
		return out
	}
	gradients := mat.NewDense(len(cells), n, nil)
	residuals := mat.NewVecDense(len(cells), nil)
	for x, i := range cells {
		gradients.SetRow(x, m.rows[i].gradient)
		residuals.SetVec(x, m.rows[i].residual)
	}
	var weighted, precision mat.Dense
	if chol.SolveTo(&weighted, gradients) != nil {
		return out
	}
	precision.Mul(gradients.T(), &weighted)
	for i := range n {
		for k := i; k < n; k++ {
			out.precision.SetSym(i, k, precision.At(i, k))
		}
	}
	mat.NewVecDense(n, out.weighted).MulVec(weighted.T(), residuals)
	return out
}

// observed are the cells of whose levels something is known.
func (m *levelModel) observed(cells []int) []int {
	return slices.DeleteFunc(slices.Clone(cells), func(i int) bool { return m.rows[i].unknown })
}

// factorLocal factorises the covariance of one pickup's cells, the shared unknowns
// given.
func (m *levelModel) factorLocal(cells []int) (*mat.Cholesky, bool) {
	v := mat.NewSymDense(len(cells), nil)
	for x, i := range cells {
		for y := x; y < len(cells); y++ {
			v.SetSym(x, y, m.localCovariance(&m.rows[i], &m.rows[cells[y]]))
		}
		v.SetSym(x, x, v.At(x, x)+m.rows[i].noise/m.weight[i])
	}
	var chol mat.Cholesky
	return &chol, chol.Factorize(v)
}

// reweigh sets the cells' weights from how far each lies from what the other cells
// of its pickup let expect, and returns these distances in standard deviations.
func (m *levelModel) reweigh(shared []float64) []float64 {
	var zs []float64
	for _, p := range slices.Sorted(maps.Keys(m.byPickup)) {
		cells := m.observed(m.byPickup[p])
		if len(cells) == 0 {
			continue
		}
		chol, ok := m.factorLocal(cells)
		if !ok {
			continue
		}
		r := mat.NewVecDense(len(cells), nil)
		for x, i := range cells {
			r.SetVec(x, m.rows[i].residual-inner(m.rows[i].gradient, shared))
		}
		var inverse mat.SymDense
		if chol.InverseTo(&inverse) != nil {
			continue
		}
		var e mat.VecDense
		e.MulVec(&inverse, r)
		for x, i := range cells {
			noise := m.rows[i].noise
			variance := 1/inverse.At(x, x) - noise/m.weight[i] + noise
			z := math.Abs(e.AtVec(x)) / inverse.At(x, x) / math.Sqrt(max(variance, noise))
			zs = append(zs, z)
			m.weight[i] = min(1, solve.Square(clipAt/z))
		}
	}
	return zs
}

// rescale estimates the record's scatter beside the usual from distances in the
// standard deviations of the last estimate.
func (m *levelModel) rescale(zs []float64) {
	if len(zs) == 0 {
		return
	}
	slices.Sort(zs)
	n := float64(len(zs))
	seen := solve.Square(solve.MADScale * solve.Median(zs) * m.scale)
	m.scale = min(max(math.Sqrt((scalePrior+n*seen)/(scalePrior+n)), leastScale), mostScale)
}

// leavingOut is what the record says of the shared unknowns when some pickups are
// left out.
func (m *levelModel) leavingOut(pickups []string) *estimate {
	key := strings.Join(pickups, "\x00")
	if x, ok := m.leftOut[key]; ok {
		return x
	}
	var parts []*information
	for _, p := range pickups {
		if x, ok := m.information[p]; ok {
			parts = append(parts, x)
		}
	}
	m.leftOut[key] = m.total.less(parts...).posterior()
	return m.leftOut[key]
}
