package screen

import (
	"math"
	"slices"
)

// known is the joint once rest is exact.
func (b *baseline) known(j *joint) *joint {
	if !j.exact {
		j.rest, j.exact = max(0, j.locals.m.unexplained(b.alone.locals, j.locals)-b.levels.alone), true
	}
	return j
}

// begin is the record as filed beside which a mounting of an open pickup is looked at.
func (s *screener) begin(b *baseline, m mounting, l *locals, unexplained float64) {
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

// examine returns the likeliest mistake of a mounting of an open pickup, nil when none has
// enough evidence, and a drift on its own account.
func (s *screener) examine(k int, l *locals, unexplained float64, b *baseline) *hypothesis {
	s.begin(b, s.mountings[k], l, unexplained)
	drift, inTakes := s.driftOf(k, b)
	s.drifts[k] = drift
	if s.driftsOnly {
		return drift
	}
	s.openToNames[k] = false // unless hypotheses finds out that it is
	mostGain := b.mostGain()
	if mostGain+mostPrior < leastEvidence {
		return nil
	}
	var best *hypothesis
	s.hypotheses(b, func(h *hypothesis) bool {
		h.mounting = k
		beyond := math.Inf(-1)
		if best != nil {
			beyond = best.evidence
		}
		if mostGain+h.prior >= max(leastEvidence, beyond) && s.weigh(h, b, beyond) && h.evidence > beyond {
			best = h
			return true
		}
		return false
	})
	if best == nil {
		return nil
	}
	// Another mistake may change levels from string to string as a drift does, but
	// not from take to take.
	if drift != nil && inTakes > clearInTakes && drift.evidence > best.evidence {
		return drift
	}
	return best
}

// weigh works out the evidence for a hypothesis and reports whether it is enough; it need
// not go through with one that has no more than another.
func (s *screener) weigh(h *hypothesis, b *baseline, other float64) bool {
	c := s.correctedCell(h, b, 0)
	h.pickups = append(h.pickups[:0], b.pickup)
	if c.Pickup != b.pickup {
		h.pickups = append(h.pickups, c.Pickup)
	}
	j := s.jointWith(b, c.Pickup)
	d := s.corrected(h, b, j, s.leastGain(h, b, other))
	if d == nil {
		return false
	}
	s.put(h)
	b.known(j)
	corrected := student(j.cells, d.halfLogDet, j.rest+d.square)
	levels := corrected - student(j.cells, b.density.halfLogDet, j.rest+b.density.square)
	lists := s.listEvidence(b.mounting, h.corrected) - b.lists
	h.evidence = levels + lists + h.prior
	switch {
	case b.impossible:
		return s.repairs(h) && levels+lists > 0 && h.evidence > leastRepairEvidence
	case h.evidence < leastEvidence, levels < -lists/2-mostLevelsAgainst:
		return false
	}
	return corrected+lists > b.filedDensity(j, h.touched, &b.unexpected)
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

// corrected is the density of a mounting's levels under a hypothesis; nil as soon as it is
// not so much likelier than as filed, whatever the cells that are left.
func (s *screener) corrected(h *hypothesis, b *baseline, j *joint, least float64) *density {
	t := b.begin(j, least)
	for x, i := range h.touched {
		y := b.place(t.placed)
		b.levels.l.e.rowOf(s.correctedCell(h, b, x), i, j.at, &y.own.row)
		j.locals.expect(y.own)
		b.levels.place(y, y.own)
		if !t.add(slices.Index(b.mounting, i), y) {
			return nil
		}
	}
	for x, i := range b.mounting {
		if slices.Contains(h.touched, i) {
			continue
		}
		y := b.place(t.placed)
		b.levels.place(y, b.levels.asFiled(i))
		if !t.add(x, y) {
			return nil
		}
	}
	return &b.trial
}

// trial is a density of a mounting's levels that is given up when it is not so much
// likelier than as filed, whatever the cells that are left.
type trial struct {
	b      *baseline
	j      *joint
	least  float64
	noise  float64 // what the own scatter of the cells to come makes of the determinant, at least
	filed  float64
	placed int
}

// begin is a trial of no cell yet.
func (b *baseline) begin(j *joint, least float64) trial {
	t := trial{b: b, j: j, least: least, filed: student(j.cells, b.density.halfLogDet, j.rest+b.density.square)}
	for _, v := range b.least {
		t.noise += v
	}
	b.trial.reset(len(b.mounting))
	b.cov = grown(b.cov, len(b.mounting))
	return t
}

// add adds the x-th cell of the mounting; false when the trial is given up.
func (t *trial) add(x int, y *among) bool {
	b, d := t.b, &t.b.trial
	t.noise -= b.least[x]
	if y.unknown {
		d.addUnknown()
	} else {
		for k, z := range b.places[:t.placed] {
			b.cov[k] = y.covariance(z)
		}
		if !d.add(b.cov[:t.placed], y.covariance(y)+y.noise, y.left) {
			return false
		}
		t.placed++
	}
	likelier := student(t.j.cells, d.halfLogDet+t.noise, t.j.rest+d.square) - t.filed
	if d.square > b.density.square { // the more is left of other cells, the less does it matter
		likelier = max(likelier, b.density.halfLogDet-d.halfLogDet-t.noise)
	}
	return likelier >= t.least
}

// place is memory for the n-th cell of a hypothesis.
func (b *baseline) place(n int) *among {
	for len(b.places) <= n {
		b.places = append(b.places, &among{own: &expected{}})
	}
	return b.places[n]
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

// repairs reports whether a hypothesis makes possible what cannot be.
func (s *screener) repairs(h *hypothesis) bool {
	for i := range h.corrected {
		if s.impossible[i] {
			return true
		}
	}
	return false
}
