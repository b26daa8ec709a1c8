package screen

import (
	"math"
	"slices"
)

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

// corrected is the density of a mounting's levels under a hypothesis; nil as soon as it is
// not so much likelier than as filed, whatever the cells that are left.
func (s *screener) corrected(h *hypothesis, b *baseline, j *joint, least float64) *density {
	t := b.begin(j, least)
	for x, i := range h.touched {
		y := b.place(t.placed)
		b.levels.l.e.rowOf(s.correctedCell(h, b, x), i, j.at, &y.own.row)
		j.locals.expect(y.own, j.liftOf(y.own.session))
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

// repairs reports whether a hypothesis makes possible what cannot be.
func (s *screener) repairs(h *hypothesis) bool {
	for i := range h.corrected {
		if s.impossible[i] {
			return true
		}
	}
	return false
}
