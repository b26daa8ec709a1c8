package screen

import (
	"math"

	"evenpole/fit/cell"
)

// hypotheses tries the mistakes that a mounting may hold and that can have enough
// evidence; try reports whether one is the likeliest so far. A mistake of a new kind is a
// list of hypotheses more. Those of one list are alternatives: each is the less likely
// beforehand the more there are.
func (s *screener) hypotheses(b *baseline, try func(h *hypothesis) bool) {
	each := func(list []*hypothesis) {
		for _, h := range list {
			h.prior -= math.Log(float64(len(list)))
			try(h)
		}
	}
	one, two, all := b.mostGains()
	// So many alternatives there can be at most, for any of them to have enough evidence.
	most := int(math.Min(math.Exp(all-leastEvidence), math.MaxInt32))
	if b.namesOnly {
		s.otherPickups(b, most, try)
		return
	}
	for _, l := range lengths {
		extra := 0.0
		if max(one, all)+extraDigits >= leastEvidence && s.anyExtraDigits(b.mounting, l) {
			extra = extraDigits
		}
		known := 0.0
		if l == steelLength && all+extra+knownSet >= leastEvidence && s.hasSetScaled(b.mounting) {
			known = knownSet
		}
		if one+extra >= leastEvidence {
			each(s.scaledOne(b, l))
		}
		if all+extra+known >= leastEvidence {
			each(s.scaledAll(b, l))
		}
		if l.swap != "" && two >= leastEvidence {
			each(s.swapped(b, l))
		}
	}
	if all >= leastEvidence {
		each(s.reversed(b))
	}
	if all+oftenSet >= leastEvidence {
		each(s.otherSets(b))
	}
	s.otherPickups(b, most, try)
}

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
