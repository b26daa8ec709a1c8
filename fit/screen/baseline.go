package screen

import (
	"math"

	"evenpole/fit/cell"
)

// hypothesis is one mistake that a mounting may hold.
type hypothesis struct {
	kind      string
	mounting  int   // its place in screener.mountings
	strings   []int // nil: all
	columns   []string
	touched   []int                     // cells that it touches, by their place
	correct   func(x int, c *cell.Cell) // makes of the x-th of them what would have been filed without it
	words     func() string             // the cause, as the record seems to be
	cause     string                    // those, of a hypothesis that has enough evidence
	cells     []cell.Cell               // the touched cells to be corrected in place; nil where there is no memory for them
	corrected map[int]*cell.Cell        // the touched cells as they would have been filed, see screener.put
	pickups   []string                  // whose cells it touches
	prior     float64                   // ln, less the more alternatives there are of its kind
	evidence  float64                   // ln of the likelihood ratio to the record as filed, with the prior
}

// baseline is the record as filed, against which the hypotheses on a mounting are
// weighed. It is used again for mounting after mounting: a record has too many of both
// for memory of their own.
type baseline struct {
	mounting      mounting
	pickup        string
	levels        surroundings
	rows          []*row    // of the mounting's cells
	least         []float64 // half of ln of the least variance that each can have
	density       density
	logLikelihood float64
	lists         float64         // see listEvidence
	impossible    bool            // has a length that cannot be
	namesOnly     bool            // see screener.again
	alone, joint  joint           // of the pickup; of it and the one that was asked for last
	together      map[int]float64 // see levelModel.unexplained: of the pickup and others, by their numbers

	scratch    cell.Cell
	own        cell.Cell   // see becomesImpossible
	renamed    []cell.Cell // see tryOtherPickups
	places     []*among
	rough      rough
	trial      density
	unexpected density // see filedDensity
	cov        []float64
	when       []float64 // see trendOf
	along      []float64 // see slope
	room       []float64
	key        []byte
}

// joint is what is left of a mounting's pickup, or of it together with another one.
type joint struct {
	locals *locals // of the other one
	at     where   // the mounting's session would be there
	rest   float64 // see surroundings; at least, where it is not exact
	exact  bool
	cells  int

	lift   *lift // of the session that was asked for last; nil = none was
	ofLift int
}

// liftOf is what is known of the lift of a session of the other pickup: all rows of a
// mounting ask for the same.
func (j *joint) liftOf(session int) *lift {
	if j.lift == nil || j.ofLift != session {
		j.lift, j.ofLift = j.locals.liftOf(session), session
	}
	return j.lift
}

// rough bounds from below how far a mounting's levels lie from what another pickup with
// another list of pole heights lets expect, see rough.go.
type rough struct {
	points  [][]point // by string and number of the height, see group.values
	batch   string
	strings []roughString
	lift    float64 // precision of the lift
	level   float64 // precision of the pickup's level
	apart   float64 // by how much the root of the quadratic form may be less, for what is shared
	part    float64 // by how many times the covariance may be more, for what is shared
	most    float64 // the quadratic form from which on the evidence cannot be enough
	usable  bool
}

// point is a string over a pole of some height.
type point struct {
	known             bool
	left, lift, noise float64 // residual but for the effects of its class and its pickup
}

// roughString is what the pickup makes of the level of one string.
type roughString struct{ mean, variance float64 }

// known is the joint once rest is exact.
func (b *baseline) known(j *joint) *joint {
	if !j.exact {
		other := j.locals.p.number
		if _, ok := b.together[other]; !ok {
			b.together[other] = j.locals.m.unexplained(b.alone.locals, j.locals)
		}
		j.rest, j.exact = max(0, b.together[other]-b.levels.alone), true
	}
	return j
}

// begin is the record as filed beside which a mounting of an open pickup is looked at.
func (s *screener) begin(b *baseline, m mounting, l *locals, unexplained float64) {
	if b.together == nil || b.pickup != l.p.name {
		b.together = map[int]float64{}
	}
	b.mounting, b.pickup, b.rows, b.least = m, l.p.name, b.rows[:0], b.least[:0]
	b.levels.fill(l, m, unexplained)
	for _, i := range m {
		r := l.e.row(i)
		b.rows = append(b.rows, r)
		b.least = append(b.least, math.Log(min(r.noise, impossibleSD*impossibleSD))/2)
	}
	b.alone = joint{locals: l, at: where{l.p.number, b.rows[0].session, l.p.last()}, rest: b.levels.rest, exact: true, cells: b.levels.cells}
	b.joint = b.alone
	b.logLikelihood = b.filedDensity(&b.alone, nil, &b.density)
	b.lists = s.listEvidence(m, nil)
	b.impossible = s.anyImpossible(m)
}

// filedDensity works out the density of the levels as filed, where a mistake of no known
// kind made those of some cells, and how likely they are.
func (b *baseline) filedDensity(j *joint, unknown []int, d *density) float64 {
	d.reset(len(b.mounting))
	if !b.levels.filed(b.mounting, unknown, d) {
		return math.Inf(-1)
	}
	return student(j.cells, d.halfLogDet, j.rest+d.square)
}

// mostGain bounds the evidence of any hypothesis but for its prior: the mounting's
// levels can become no likelier than the likeliest ones are, and its lists can at
// best repeat others.
func (b *baseline) mostGain() float64 {
	if b.impossible {
		return math.Inf(1)
	}
	var least float64
	for _, r := range b.rows {
		least += math.Log(r.noise) / 2
	}
	return student(b.levels.cells, least, b.levels.rest) - b.logLikelihood - b.lists
}

// mostGains bounds the evidence of hypotheses that touch one cell, two, or all.
func (b *baseline) mostGains() (one, two, all float64) {
	all = b.mostGain()
	if b.impossible {
		return all, all, all
	}
	d := &b.density
	n := len(d.left)
	b.room = grown(b.room, 3*n*n+2*n)
	factor, precision, pull, noise := b.room[:n*n], b.room[n*n:2*n*n], b.room[3*n*n:3*n*n+n], b.room[3*n*n+n:][:0]
	for k := range n {
		copy(factor[k*n:k*n+k+1], d.factor[k*d.most:])
	}
	invert(factor, n, precision, b.room[2*n*n:3*n*n])
	for _, r := range b.rows {
		if !r.unknown {
			noise = append(noise, r.noise)
		}
	}
	for k := range pull {
		pull[k] = inner(d.left, precision[k*n:(k+1)*n])
	}
	gain := func(noises, logDet, square float64) float64 {
		return student(b.levels.cells, d.halfLogDet+(math.Log(noises)+logDet)/2, b.levels.rest+max(0, d.square-square)) - b.logLikelihood - b.lists
	}
	one, two = math.Inf(-1), math.Inf(-1)
	for k := range n {
		own := precision[k*n+k]
		one = max(one, gain(noise[k], math.Log(own), pull[k]*pull[k]/own))
		for o := range k {
			other, both := precision[o*n+o], precision[k*n+o]
			det := own*other - both*both
			square := (pull[k]*pull[k]*other - 2*pull[k]*pull[o]*both + pull[o]*pull[o]*own) / det
			two = max(two, gain(noise[k]*noise[o], math.Log(det), square))
		}
	}
	if n < len(b.rows) { // of levels that are not known no more is asked
		return all, all, all
	}
	return one, two, all
}

// leastGain is by how much a mounting's levels must at least be likelier under a hypothesis
// that is to have enough evidence, and more than another.
func (s *screener) leastGain(h *hypothesis, b *baseline, other float64) float64 {
	least := leastEvidence - h.prior
	if b.impossible {
		least = max(0, leastRepairEvidence-h.prior)
	}
	const rounding = 1e-6
	return max(least, other-h.prior) + b.lists - rounding
}

// jointWith is what is left of a mounting's pickup together with another one.
func (s *screener) jointWith(b *baseline, other string) *joint {
	if other == b.pickup {
		return &b.alone
	}
	if b.joint.locals.p.name != other {
		own, l := b.alone.locals, s.levels.localsOf(other)
		b.joint = joint{
			locals: l, at: where{l.p.number, s.levels.sessionOf(l.p.number, s.cells[b.mounting[0]].Session), own.p.last()},
			rest: max(0, own.square+l.square-b.levels.alone), cells: b.levels.cells + len(l.p.cells),
		}
	}
	return &b.joint
}

// place is memory for the n-th cell of a hypothesis.
func (b *baseline) place(n int) *among {
	for len(b.places) <= n {
		b.places = append(b.places, &among{own: &expected{}})
	}
	return b.places[n]
}

// correctedCell is the x-th cell that a hypothesis touches, without the mistake, as long as
// no other one is asked for.
func (s *screener) correctedCell(h *hypothesis, b *baseline, x int) *cell.Cell {
	c := &b.scratch
	if h.cells != nil {
		c = &h.cells[x]
	} else {
		*c = *s.cells[h.touched[x]]
	}
	h.correct(x, c)
	return c
}

// put works out the cells as they would have been filed without a mistake.
func (s *screener) put(h *hypothesis) {
	if h.corrected != nil {
		return
	}
	h.corrected = map[int]*cell.Cell{}
	for x, i := range h.touched {
		c := *s.cells[i]
		h.correct(x, &c)
		h.corrected[i] = &c
	}
}

// becomesImpossible reports whether a hypothesis makes cells that cannot be.
func (s *screener) becomesImpossible(h *hypothesis, b *baseline) bool {
	for x := range h.touched {
		if !s.correctedCell(h, b, x).Possible() {
			return true
		}
	}
	return false
}

// mostChange is the most by which a hypothesis changes a length, mm.
func (s *screener) mostChange(h *hypothesis, l *lengthColumn, b *baseline) float64 {
	most := 0.0
	for x, i := range h.touched {
		most = max(most, math.Abs(l.get(s.correctedCell(h, b, x))-l.get(s.cells[i])))
	}
	return most
}
