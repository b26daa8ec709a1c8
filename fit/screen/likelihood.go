package screen

import (
	"math"
	"slices"
	"sync"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"
	"evenpole/profiles"
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
// one pickup are jointly normal given the others: see surroundings.
type levelModel struct {
	curve         curve.Curve
	theta         []float64 // the curve's parameters
	cells         []*cell.Cell
	last          []int // of each cell's pickup: its highest string
	takeVariance  cell.TakeVariances
	scale         float64 // this record's scatter beside the usual
	classes       classes
	mean, sd      []float64 // prior of the shared unknowns; parameters first
	weight        []float64 // of each cell in the robust fit
	impossible    []bool    // of each cell: its level says nothing
	extraVariance []float64 // of each cell, see screener
	rows          []row     // from the end of the fit on, residuals are beside given.mean
	velocity      []float64 // of each cell's string, see curve.Site
	pickups       []*pickup
	number        map[string]int // of a pickup
	sessions      map[session]int
	inverses      [][]float64      // of each pickup, see elimination.inverse
	total         *information     // of all cells and the priors
	given         *estimate        // what the whole record says
	locals        []func() *locals // of each pickup, worked out when they are first asked for
}

// newLevelModel fits the cells as they seem to be; the levels of impossible ones say
// nothing.
func newLevelModel(s *screener) *levelModel {
	cells := s.cells
	m := &levelModel{
		curve: curve.Curve{Excite: s.excite, Pitch: true}, cells: cells, takeVariance: s.takeVariance,
		impossible: s.impossible, extraVariance: s.extraVariance, scale: 1,
	}
	var wraps []*curve.Site
	seen := map[profiles.Wrap]bool{}
	for _, c := range cells {
		m.curve.Pitch = m.curve.Pitch && c.Freq > 0
		if !seen[c.Wrap] {
			seen[c.Wrap] = true
			wraps = append(wraps, &curve.Site{Wrap: c.Wrap})
		}
	}
	m.curve.Wraps = curve.WrapsOf(wraps)
	m.layOut()
	m.linearise()
	for round := range fitRounds {
		step := m.total.mean()
		zs := m.reweigh(step)
		if round > fitRounds/2 {
			m.rescale(zs)
		}
		for k := range m.theta {
			m.theta[k] += step[k]
		}
		m.linearise()
	}
	m.given = m.total.posterior()
	for _, p := range m.pickups {
		m.locals = append(m.locals, sync.OnceValue(func() *locals { return localsOf(newElimination(m), p) }))
	}
	inChunks(len(m.rows), func(_, from, to int) {
		for i := from; i < to; i++ {
			if r := &m.rows[i]; !r.unknown {
				r.residual -= m.shared(r, m.given.mean)
			}
		}
	})
	return m
}

// layOut numbers pickups, sessions and the shared unknowns, and starts the unknowns at
// their priors.
func (m *levelModel) layOut() {
	for _, p := range m.curve.Priors() {
		m.theta = append(m.theta, p.Mean)
		m.mean, m.sd = append(m.mean, p.Mean), append(m.sd, p.SD)
	}
	classes, each, sds := classesOf(m.cells, len(m.theta))
	m.classes = classes
	m.mean, m.sd = append(m.mean, make([]float64, len(sds))...), append(m.sd, sds...)
	n := len(m.cells)
	var pickups, sessions []int
	m.pickups, pickups, sessions, m.sessions = pickupsOf(m.cells, each)
	m.number, m.inverses = map[string]int{}, make([][]float64, len(m.pickups))
	highest := make([]int, len(m.pickups))
	for k, p := range m.pickups {
		m.number[p.name] = k
		highest[k] = slices.Max(p.poles)
	}
	m.last, m.weight, m.velocity, m.rows = make([]int, n), make([]float64, n), make([]float64, n), make([]row, n)
	gradients := make([]float64, n*len(m.theta))
	for i := range m.cells {
		m.last[i], m.weight[i] = max(0, highest[pickups[i]]), 1
		m.rows[i] = row{pickup: pickups[i], session: sessions[i], class: each[i], gradient: gradients[i*len(m.theta) : (i+1)*len(m.theta)]}
	}
	inChunks(n, func(_, from, to int) {
		for i := from; i < to; i++ {
			m.velocity[i] = m.curve.CellSite(m.cells[i], m.last[i]).Velocity
		}
	})
}

// linearise works out every cell's row at the last estimates and adds up the
// information of all.
func (m *levelModel) linearise() {
	still := m.curve // strings' velocities are known by now
	still.Pitch = false
	parts := make([]*information, mostChunks)
	inChunks(len(m.pickups), func(chunk, from, to int) {
		parts[chunk] = noInformation(len(m.mean))
		e, at := newElimination(m), m.curve.At(m.theta)
		for k := from; k < to; k++ {
			p := m.pickups[k]
			for _, i := range p.cells {
				r := &m.rows[i]
				s := still.CellSite(m.cells[i], m.last[i])
				s.Velocity = m.velocity[i]
				var mean float64
				mean, r.lift = at.Linear(r.gradient, s, 0)
				m.fill(r, m.cells[i], mean)
				r.unknown = r.unknown || m.impossible[i]
				r.noise += m.extraVariance[i]
			}
			e.eliminate(p)
			addInformation(e.a, e.b, e.p, p, parts[chunk], 1)
			m.inverses[k] = append(m.inverses[k][:0], e.inverse...)
		}
	})
	m.total = m.priorInformation()
	for _, x := range parts {
		if x != nil {
			m.total.add(x, 1)
		}
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
		out.precision[k*out.n+k] = precision
		if k < len(m.theta) {
			out.weighted[k] = precision * (m.mean[k] - m.theta[k])
		}
	}
	return out
}

// reweigh sets the cells' weights from how far each lies from what the other cells
// of its pickup let expect, the shared unknowns given, and returns these distances in
// standard deviations.
func (m *levelModel) reweigh(shared []float64) []float64 {
	zs := make([]float64, len(m.cells))
	inChunks(len(m.pickups), func(_, from, to int) {
		for k := from; k < to; k++ {
			m.reweighPickup(m.pickups[k], m.inverses[k], shared, zs)
		}
	})
	seen := zs[:0]
	for i, z := range zs {
		if !m.rows[i].unknown {
			seen = append(seen, z)
		}
	}
	return seen
}

// reweighPickup does so for the cells of one pickup, of whose level and poles, the
// shared unknowns given, the covariance is inverse.
func (m *levelModel) reweighPickup(p *pickup, inverse, shared, zs []float64) {
	for _, i := range p.cells {
		if r := &m.rows[i]; !r.unknown {
			zs[i] = r.residual - m.shared(r, shared)
		}
	}
	locals := 1 + len(p.poles)
	right, lifts := make([]float64, locals), make([]coupling, len(p.ends))
	from := 0
	for k, end := range p.ends {
		lifts[k] = m.couplingOf(p, p.cells[from:end], zs)
		l := &lifts[k]
		for _, i := range p.cells[from:end] {
			if r := &m.rows[i]; !r.unknown {
				v := m.weight[i] / r.noise * zs[i]
				right[0] += v
				right[1+p.pole(r.class.string)] += v
			}
		}
		addScaled(right, -l.weighted/l.precision, l.coupled)
		from = end
	}
	local, through := make([]float64, locals), make([]float64, locals)
	for x := range local {
		local[x] = inner(right, inverse[x*locals:(x+1)*locals])
	}
	from = 0
	for k, end := range p.ends {
		l := &lifts[k]
		for x := range through {
			through[x] = inner(l.coupled, inverse[x*locals:(x+1)*locals])
		}
		most := inner(l.coupled, through)
		height := (l.weighted - inner(l.coupled, local)) / l.precision
		for _, i := range p.cells[from:end] {
			r := &m.rows[i]
			if r.unknown {
				continue
			}
			pole := 1 + p.pole(r.class.string)
			ratio := r.lift / l.precision
			// The variance of what is local, given the cells of the pickup, this one among them.
			own := r.lift*ratio + inverse[0] + 2*inverse[pole] + inverse[pole*locals+pole] - 2*ratio*(through[0]+through[pole]) + ratio*ratio*most
			w := m.weight[i] / r.noise
			precision := w - w*w*own // of the cell's level, given the others
			e := w * (zs[i] - local[0] - local[pole] - r.lift*height)
			variance := 1/precision - 1/w + r.noise
			z := math.Abs(e) / precision / math.Sqrt(max(variance, r.noise))
			zs[i] = z
			m.weight[i] = min(1, solve.Square(clipAt/z))
		}
		from = end
	}
}

// coupling is how the lift of one session is coupled with its pickup's level and poles.
type coupling struct {
	precision, weighted float64
	coupled             []float64
}

func (m *levelModel) couplingOf(p *pickup, cells []int, residuals []float64) coupling {
	l := coupling{1 / (liftVariance * m.scale * m.scale), 0, make([]float64, 1+len(p.poles))}
	for _, i := range cells {
		r := &m.rows[i]
		if r.unknown {
			continue
		}
		v := m.weight[i] / r.noise * r.lift
		l.coupled[0] += v
		l.coupled[1+p.pole(r.class.string)] += v
		l.precision += v * r.lift
		l.weighted += v * residuals[i]
	}
	return l
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
