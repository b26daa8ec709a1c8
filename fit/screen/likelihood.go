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
	lastRounds = 3    // of those, in which all pickups of a large record have a part
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
// one pickup are jointly normal given the others: see surroundings. Batches and strings
// are among them where they are few: see mostLevels.
type levelModel struct {
	curve        curve.Curve
	theta        []float64 // the curve's parameters
	cells        []*cell.Cell
	takeVariance cell.TakeVariances
	scale        float64 // this record's scatter beside the usual
	classes      classes
	mean, sd     []float64 // prior of the shared unknowns; parameters first
	impossible   []bool    // of each cell: its level says nothing
	cutOff       []bool    // of each cell, see screener
	fields       bool      // some cell has one
	class        []*class  // of each cell
	velocity     []float64 // of each cell's string, see curve.Site
	weight       []float64 // of each cell in the robust fit
	*pickups
	inverses  [][]float64  // of each pickup, see elimination.inverse
	total     *information // of all cells and the priors
	given     *estimate    // what the whole record says; nil until the end of the fit
	locals    []*kept      // of each pickup
	moved     float64      // see levelModel.correct
	usualLift lift         // of a session of which nothing is known
	zs        []float64    // see reweigh
	rounds    int          // in which theta was found
	room      sync.Pool    // of eliminations, for those
}

// newLevelModel fits the cells as they seem to be; the levels of impossible ones say
// nothing.
func newLevelModel(s *screener) *levelModel {
	m := levelsOf(s)
	m.find(m.fewPickups())
	return m
}

// levelsOf is a model that is not fitted yet.
func levelsOf(s *screener) *levelModel {
	cells := s.cells
	m := &levelModel{
		curve: curve.Curve{Excite: s.excite, Pitch: true}, cells: cells, takeVariance: s.takeVariance,
		impossible: s.impossible, cutOff: s.cutOff, scale: 1,
	}
	var wraps []*curve.Site
	seen := map[profiles.Wrap]bool{}
	for _, c := range cells {
		m.curve.Pitch = m.curve.Pitch && c.Freq > 0
		m.fields = m.fields || c.Field != 0
		if !seen[c.Wrap] {
			seen[c.Wrap] = true
			wraps = append(wraps, &curve.Site{Wrap: c.Wrap})
		}
	}
	m.curve.Wraps = curve.WrapsOf(wraps)
	m.layOut()
	return m
}

// find fits the model. Of a large record some pickups are asked in the first rounds: they
// say roughly what all say.
func (m *levelModel) find(asked []*pickup) {
	m.linearise(asked)
	for round := range fitRounds {
		step := m.total.mean()
		zs := m.reweigh(asked, step)
		if round > fitRounds/2 {
			m.rescale(zs)
		}
		for k := range m.theta {
			m.theta[k] += step[k]
		}
		m.rounds++
		if round+1 == fitRounds-lastRounds {
			asked = m.all
		}
		m.linearise(asked)
	}
	m.given = m.total.posterior()
	m.zs = nil
	m.forgetLocals()
	m.usualLift.precision = 1 / (liftVariance * m.scale * m.scale)
}

// fewPickups is some pickups of a large record; all of another.
func (m *levelModel) fewPickups() []*pickup {
	var few []*pickup
	for _, k := range cell.FewPickups(len(m.all), func(k int) int { return len(m.all[k].cells) }) {
		few = append(few, m.all[k])
	}
	if few == nil {
		return m.all
	}
	return few
}

// forgetLocals is to be called when what the whole record says has changed.
func (m *levelModel) forgetLocals() {
	m.locals = make([]*kept, len(m.all))
	for k := range m.locals {
		m.locals[k] = &kept{}
	}
}

// layOut numbers pickups, sessions and the shared unknowns, and starts the unknowns at
// their priors.
func (m *levelModel) layOut() {
	for _, p := range m.curve.Priors() {
		m.theta = append(m.theta, p.Mean)
		m.mean, m.sd = append(m.mean, p.Mean), append(m.sd, p.SD)
	}
	var sds []float64
	m.classes, m.class, sds = classesOf(m.cells, len(m.theta))
	m.mean, m.sd = append(m.mean, make([]float64, len(sds))...), append(m.sd, sds...)
	m.pickups = pickupsOf(m.cells, m.class)
	m.inverses = make([][]float64, len(m.all))
	n := len(m.cells)
	m.weight, m.velocity = make([]float64, n), make([]float64, n)
	inChunks(n, func(_, from, to int) {
		for i := from; i < to; i++ {
			m.weight[i] = 1
			m.velocity[i] = m.curve.CellSite(m.cells[i], 0).Velocity
		}
	})
}

// linearise works out the rows of some pickups' cells at the last estimates and adds up the
// information of all of these.
func (m *levelModel) linearise(pickups []*pickup) {
	parts := make([]*information, mostChunks)
	inChunks(len(pickups), func(chunk, from, to int) {
		parts[chunk] = noInformation(len(m.mean))
		e := m.elimination()
		defer m.room.Put(e)
		for _, p := range pickups[from:to] {
			e.eliminate(p)
			addInformation(e.a, e.b, e.params, p, parts[chunk], 1)
			m.inverses[p.number] = append(m.inverses[p.number][:0], e.inverse...)
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

// reweigh sets the weights of some pickups' cells from how far each lies from what the
// other cells of its pickup let expect, the shared unknowns given, and returns these
// distances in standard deviations.
func (m *levelModel) reweigh(pickups []*pickup, shared []float64) []float64 {
	zs := grown(m.zs, len(m.cells))
	m.zs = zs
	if len(pickups) < len(m.all) {
		for i := range zs {
			zs[i] = math.Inf(-1)
		}
	}
	inChunks(len(pickups), func(_, from, to int) {
		e := m.elimination()
		defer m.room.Put(e)
		w := reweighing{opened: e.opened}
		for _, p := range pickups[from:to] {
			w.open(p)
			w.reweigh(m.inverses[p.number], shared, zs)
		}
	})
	return slices.DeleteFunc(zs, func(z float64) bool { return math.IsInf(z, -1) })
}

// reweighing sets the weights of the cells of one pickup after the other.
type reweighing struct {
	*opened
	room, coupled []float64
	lifts         []coupling
}

// reweigh does so for the open pickup, of whose level and poles, the shared unknowns
// given, the covariance is inverse. The distance of a cell of which nothing is known is -Inf.
func (w *reweighing) reweigh(inverse, shared, zs []float64) {
	m, p, locals := w.m, w.p, 1+len(w.p.poles)
	for x, i := range p.cells {
		if r := &w.rows[x]; r.unknown {
			zs[i] = math.Inf(-1)
		} else {
			zs[i] = r.residual - m.shared(r, shared)
		}
	}
	w.room, w.coupled, w.lifts = grown(w.room, 3*locals), grown(w.coupled, locals*len(p.ends)), w.lifts[:0]
	right, local, through := w.room[:locals], w.room[locals:2*locals], w.room[2*locals:]
	for k := range p.ends {
		cells, from := p.session(k)
		l := w.couplingOf(cells, from, zs, w.coupled[k*locals:(k+1)*locals])
		w.lifts = append(w.lifts, l)
		for x, i := range cells {
			if r := &w.rows[from+x]; !r.unknown {
				v := m.weight[i] / r.noise * zs[i]
				right[0] += v
				right[1+p.pole(r.class.string)] += v
			}
		}
		addScaled(right, -l.weighted/l.precision, l.coupled)
	}
	for x := range local {
		local[x] = inner(right, inverse[x*locals:(x+1)*locals])
	}
	for k := range p.ends {
		l := &w.lifts[k]
		for x := range through {
			through[x] = inner(l.coupled, inverse[x*locals:(x+1)*locals])
		}
		most := inner(l.coupled, through)
		height := (l.weighted - inner(l.coupled, local)) / l.precision
		cells, from := p.session(k)
		for x, i := range cells {
			r := &w.rows[from+x]
			if r.unknown {
				continue
			}
			pole := 1 + p.pole(r.class.string)
			ratio := r.lift / l.precision
			// The variance of what is local, given the cells of the pickup, this one among them.
			own := r.lift*ratio + inverse[0] + 2*inverse[pole] + inverse[pole*locals+pole] - 2*ratio*(through[0]+through[pole]) + ratio*ratio*most
			weight := m.weight[i] / r.noise
			precision := weight - weight*weight*own // of the cell's level, given the others
			e := weight * (zs[i] - local[0] - local[pole] - r.lift*height)
			variance := 1/precision - 1/weight + r.noise
			z := math.Abs(e) / precision / math.Sqrt(max(variance, r.noise))
			zs[i] = z
			m.weight[i] = min(1, solve.Square(clipAt/z))
		}
	}
}

// coupling is how the lift of one session is coupled with its pickup's level and poles.
type coupling struct {
	precision, weighted float64
	coupled             []float64
}

// couplingOf is that of a session whose cells begin at a place; it fills coupled.
func (w *reweighing) couplingOf(cells []int, from int, residuals, coupled []float64) coupling {
	m := w.m
	l := coupling{1 / (liftVariance * m.scale * m.scale), 0, coupled}
	for x, i := range cells {
		r := &w.rows[from+x]
		if r.unknown {
			continue
		}
		v := m.weight[i] / r.noise * r.lift
		l.coupled[0] += v
		l.coupled[1+w.p.pole(r.class.string)] += v
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
	n := float64(len(zs))
	seen := solve.Square(solve.MADScale * median(zs) * m.scale)
	m.scale = min(max(math.Sqrt((scalePrior+n*seen)/(scalePrior+n)), leastScale), mostScale)
}
