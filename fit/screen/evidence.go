package screen

import (
	"math"
	"slices"
)

// baseline is the record as filed, against which the hypotheses on a mounting are
// weighed.
type baseline struct {
	mounting      mounting
	pickup        string
	levels        *conditional
	logLikelihood float64
	lists         float64 // see listEvidence
	impossible    bool    // has a length that cannot be
	joint         map[string]joint
}

// joint is the levels of a mounting's pickup together with those of another one.
type joint struct {
	levels        *conditional
	logLikelihood float64
}

func (s *screener) baselineOf(m mounting) *baseline {
	b := &baseline{mounting: m, pickup: s.cells[m[0]].Pickup, joint: map[string]joint{}}
	b.levels = s.levels.conditional([]string{b.pickup}, m)
	b.logLikelihood = b.levels.logLikelihood()
	b.lists = s.listEvidence(m, nil)
	b.impossible = slices.ContainsFunc(m, func(i int) bool { return s.impossible[i] })
	return b
}

// mostGain bounds the evidence of any hypothesis but for its prior: the mounting's
// levels can become no likelier than the likeliest ones are, and its lists can at
// best repeat others.
func (b *baseline) mostGain() float64 {
	if b.impossible {
		return math.Inf(1)
	}
	return b.levels.withBest(b.mounting).logLikelihood() - b.logLikelihood - b.lists
}

// examine returns the likeliest mistake of a mounting, nil when none has enough evidence.
func (s *screener) examine(k int) *hypothesis {
	m := s.mountings[k]
	if s.driftsOnly {
		h, _ := s.driftOf(k, s.levels.conditional([]string{s.cells[m[0]].Pickup}, m))
		return h
	}
	b := s.baselineOf(m)
	mostGain := b.mostGain()
	if mostGain+mostPrior < leastEvidence {
		return nil
	}
	var best *hypothesis
	for _, h := range s.hypotheses(m) {
		h.mounting = k
		if mostGain+h.prior >= leastEvidence && s.weigh(h, b) && (best == nil || h.evidence > best.evidence) {
			best = h
		}
	}
	if best == nil {
		return nil
	}
	// Another mistake may change levels from string to string as a drift does, but
	// not from take to take.
	if d, inTakes := s.driftOf(k, b.levels); d != nil && inTakes > clearInTakes && d.evidence > best.evidence {
		return d
	}
	return best
}

// weigh works out the evidence for a hypothesis and reports whether it is enough.
func (s *screener) weigh(h *hypothesis, b *baseline) bool {
	h.pickups = []string{b.pickup}
	rows := map[int]row{}
	var touched []int
	for i, c := range h.corrected {
		if c.Pickup != b.pickup && len(h.pickups) == 1 {
			h.pickups = append(h.pickups, c.Pickup)
		}
		r := s.levels.rowOf(&c, s.levels.last[i])
		r.noise += s.extraVariance[i]
		rows[i] = r
		touched = append(touched, i)
	}
	filed := joint{b.levels, b.logLikelihood}
	if len(h.pickups) > 1 {
		filed = s.jointWith(b, h.pickups[1])
	}
	corrected := filed.levels.with(rows).logLikelihood()
	levels := corrected - filed.logLikelihood
	lists := s.listEvidence(b.mounting, h.corrected) - b.lists
	h.evidence = levels + lists + h.prior
	switch {
	case b.impossible:
		return s.repairs(h) && levels+lists > 0 && h.evidence > leastRepairEvidence
	case h.evidence < leastEvidence, levels < -lists/2-mostLevelsAgainst:
		return false
	}
	return corrected+lists > filed.levels.withUnknown(touched).logLikelihood()
}

// jointWith is the levels of a mounting's pickup together with those of another one.
func (s *screener) jointWith(b *baseline, other string) joint {
	j, ok := b.joint[other]
	if !ok {
		levels := s.levels.conditional([]string{b.pickup, other}, b.mounting)
		j = joint{levels, levels.logLikelihood()}
		b.joint[other] = j
	}
	return j
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
