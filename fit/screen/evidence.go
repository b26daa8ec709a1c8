package screen

import (
	"math"
	"slices"
	"sync"

	"evenpole/fit/cell"
)

// baseline is the record as filed, against which the hypotheses on a mounting are
// weighed.
type baseline struct {
	mounting      mounting
	pickup        string
	levels        *surroundings
	rows          []*row    // of the mounting's cells
	least         []float64 // half of ln of the least variance that each can have
	density       *density
	logLikelihood float64
	lists         float64 // see listEvidence
	impossible    bool    // has a length that cannot be
	joint         map[string]joint
	*weighing
}

// weighing is memory for weighing one hypothesis after the other.
type weighing struct {
	scratch cell.Cell
	places  []*among
	trial   *density
	cov     []float64
}

// densityOf is the trial density, of so many levels, with none yet.
func (w *weighing) densityOf(most int) *density {
	if w.trial == nil || w.trial.most != most {
		w.trial, w.cov = newDensity(most), make([]float64, most)
	}
	w.trial.reset()
	return w.trial
}

// joint is what is left of a mounting's pickup, or of it together with another one.
type joint struct {
	locals *locals // of the other one
	rest   float64 // see surroundings; at least, where exact is not nil
	cells  int
	exact  func() float64 // works rest out
}

// known is the joint once rest is exact.
func (j joint) known() joint {
	if j.exact != nil {
		j.rest, j.exact = j.exact(), nil
	}
	return j
}

func (s *screener) baselineOf(m mounting, l *locals, unexplained float64, w *weighing) *baseline {
	b := &baseline{weighing: w, mounting: m, pickup: l.p.name, levels: surroundingsOf(l, m, unexplained), joint: map[string]joint{}}
	for _, i := range m {
		r := &s.levels.rows[i]
		b.rows = append(b.rows, r)
		b.least = append(b.least, math.Log(min(r.noise, impossibleSD*impossibleSD))/2)
	}
	b.joint[b.pickup] = joint{locals: l, rest: b.levels.rest, cells: b.levels.cells}
	b.density, b.logLikelihood = b.filedDensity(b.joint[b.pickup], nil)
	b.lists = s.listEvidence(m, nil)
	b.impossible = s.anyImpossible(m)
	return b
}

// filedDensity is the density of the levels as filed, where a mistake of no known kind
// made those of some cells.
func (b *baseline) filedDensity(j joint, unknown []int) (*density, float64) {
	d, ok := b.levels.filed(b.mounting, unknown)
	if !ok {
		return d, math.Inf(-1)
	}
	return d, student(j.cells, d.halfLogDet, j.rest+d.square)
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
	d := b.density
	n := len(d.left)
	factor, precision, pull := make([]float64, n*n), make([]float64, n*n), make([]float64, n)
	for k := range n {
		copy(factor[k*n:k*n+k+1], d.factor[k*d.most:])
	}
	invert(factor, n, precision)
	var noise []float64
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

// examine returns the likeliest mistake of a mounting, nil when none has enough evidence,
// and a drift on its own account.
func (s *screener) examine(k int, l *locals, unexplained float64, w *weighing) *hypothesis {
	b := s.baselineOf(s.mountings[k], l, unexplained, w)
	drift, inTakes := s.driftOf(k, b)
	s.drifts[k] = drift
	if s.driftsOnly {
		return drift
	}
	mostGain := b.mostGain()
	if mostGain+mostPrior < leastEvidence {
		return nil
	}
	var best *hypothesis
	for _, h := range s.hypotheses(b) {
		h.mounting = k
		beyond := math.Inf(-1)
		if best != nil {
			beyond = best.evidence
		}
		if mostGain+h.prior >= max(leastEvidence, beyond) && s.weigh(h, b, beyond) && h.evidence > beyond {
			best = h
		}
	}
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
	h.pickups = []string{b.pickup}
	b.scratch = *s.cells[h.touched[0]]
	if h.correct(0, &b.scratch); b.scratch.Pickup != b.pickup {
		h.pickups = append(h.pickups, b.scratch.Pickup)
	}
	j := s.jointWith(b, h.pickups[len(h.pickups)-1])
	least := leastEvidence - h.prior
	if b.impossible {
		least = max(0, leastRepairEvidence-h.prior)
	}
	const rounding = 1e-6
	d := s.corrected(h, b, j, max(least, other-h.prior)+b.lists-rounding)
	if d == nil {
		return false
	}
	s.put(h)
	j = j.known()
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
	_, unknown := b.filedDensity(j, h.touched)
	return corrected+lists > unknown
}

// corrected is the density of a mounting's levels under a hypothesis; nil as soon as it is
// not so much likelier than as filed, whatever the cells that are left.
func (s *screener) corrected(h *hypothesis, b *baseline, j joint, least float64) *density {
	var noise float64 // what the own scatter of the cells to come makes of the determinant, at least
	for _, v := range b.least {
		noise += v
	}
	d, placed := b.densityOf(len(b.mounting)), 0
	add := func(x int, y *among) bool {
		noise -= b.least[x]
		if y.unknown {
			d.addUnknown()
		} else {
			for k, z := range b.places[:placed] {
				b.cov[k] = y.covariance(z)
			}
			if !d.add(b.cov[:placed], y.covariance(y)+y.noise, y.left) {
				return false
			}
			placed++
		}
		likelier := student(j.cells, d.halfLogDet+noise, j.rest+d.square) - student(j.cells, b.density.halfLogDet, j.rest+b.density.square)
		if d.square > b.density.square { // the more is left of other cells, the less does it matter
			likelier = max(likelier, b.density.halfLogDet-d.halfLogDet-noise)
		}
		return likelier >= least
	}
	for x, i := range h.touched {
		b.scratch = *s.cells[i]
		h.correct(x, &b.scratch)
		y := b.place(placed)
		s.levels.rowOf(&b.scratch, i, &y.own.row)
		j.locals.expect(y.own)
		b.levels.place(y, y.own)
		if !add(slices.Index(b.mounting, i), y) {
			return nil
		}
	}
	for x, i := range b.mounting {
		if slices.Contains(h.touched, i) {
			continue
		}
		y := b.place(placed)
		b.levels.place(y, b.levels.asFiled(i))
		if !add(x, y) {
			return nil
		}
	}
	return d
}

// place is memory for the n-th cell of a hypothesis.
func (w *weighing) place(n int) *among {
	for len(w.places) <= n {
		w.places = append(w.places, &among{own: &expected{}})
	}
	return w.places[n]
}

// jointWith is what is left of a mounting's pickup together with another one.
func (s *screener) jointWith(b *baseline, other string) joint {
	j, ok := b.joint[other]
	if !ok {
		own, l := b.joint[b.pickup].locals, s.levels.localsOf(other)
		j = joint{
			locals: l, rest: max(0, own.square+l.square-b.levels.alone), cells: b.levels.cells + len(l.p.cells),
			exact: sync.OnceValue(func() float64 { return max(0, s.levels.unexplained(own, l)-b.levels.alone) }),
		}
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

// slope estimates by how much levels rise with a covariate of the mounting's cells, of
// which the scatter of their takes gives an estimate of its own, inTakes with the variance
// inTakesVar. evidence is ln of the likelihood ratio of a slope that scatters by sd
// against one that scatters by sd0.
func (b *baseline) slope(covariate []float64, inTakes, inTakesVar, sd, sd0 float64) (slope, evidence float64) {
	d := b.density
	var z []float64
	for x, r := range b.rows {
		if !r.unknown {
			z = append(z, covariate[x])
		}
	}
	for i := range z {
		z[i] = (z[i] - inner(d.factor[i*d.most:i*d.most+i], z)) / d.factor[i*d.most+i]
	}
	precision := inner(z, z) + 1/inTakesVar
	sum := inner(z, d.solved) + inTakes/inTakesVar
	logRatio := func(sd float64) float64 {
		shrink := 1 / (precision + 1/(sd*sd))
		return sum*sum*shrink/2 - math.Log1p(precision*sd*sd)/2
	}
	return sum / (precision + 1/(sd*sd)), logRatio(sd) - logRatio(sd0)
}
