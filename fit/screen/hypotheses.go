package screen

import (
	"math"

	"evenpole/fit/cell"
)

// hypotheses lists the mistakes that a mounting may hold and that can have enough
// evidence. A mistake of a new kind is a list of hypotheses more. Those of one list are
// alternatives: each is the less likely beforehand the more there are.
func (s *screener) hypotheses(b *baseline) []*hypothesis {
	var out []*hypothesis
	add := func(list []*hypothesis) {
		for _, h := range list {
			h.prior -= math.Log(float64(len(list)))
		}
		out = append(out, list...)
	}
	m := b.mounting
	one, two, all := b.mostGains()
	for _, l := range lengths {
		extra := 0.0
		if max(one, all)+extraDigits >= leastEvidence && s.anyExtraDigits(m, l) {
			extra = extraDigits
		}
		known := 0.0
		if l == steelLength && all+extra+knownSet >= leastEvidence && s.hasSetScaled(m) {
			known = knownSet
		}
		if one+extra >= leastEvidence {
			add(s.scaledOne(m, l))
		}
		if all+extra+known >= leastEvidence {
			add(s.scaledAll(m, l))
		}
		if l.swap != "" && two >= leastEvidence {
			add(s.swapped(m, l))
		}
	}
	if all >= leastEvidence {
		add(s.reversed(m))
	}
	if all+oftenSet >= leastEvidence {
		add(s.otherSets(m))
	}
	// So many alternatives there can be at most, for any of them to have enough evidence.
	most := math.Min(math.Exp(all-leastEvidence), math.MaxInt32)
	if float64(len(s.lists.others[s.lists.group(m)])-1) <= most && float64(len(s.others(m, int(most)))) <= most {
		add(s.otherPickups(m))
	}
	return out
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
	corrected map[int]cell.Cell         // the touched cells as they would have been filed, see screener.put
	pickups   []string                  // whose cells it touches
	prior     float64                   // ln, less the more alternatives there are of its kind
	evidence  float64                   // ln of the likelihood ratio to the record as filed, with the prior
}

// put works out the cells as they would have been filed without a mistake.
func (s *screener) put(h *hypothesis) {
	if h.corrected != nil {
		return
	}
	h.corrected = map[int]cell.Cell{}
	for x, i := range h.touched {
		c := *s.cells[i]
		h.correct(x, &c)
		h.corrected[i] = c
	}
}

// becomesImpossible reports whether a hypothesis makes cells that cannot be.
func (s *screener) becomesImpossible(h *hypothesis) bool {
	var c cell.Cell
	for x, i := range h.touched {
		c = *s.cells[i]
		if h.correct(x, &c); !c.Possible() {
			return true
		}
	}
	return false
}

// mostChange is the most by which a hypothesis changes a length, mm.
func (s *screener) mostChange(h *hypothesis, l *lengthColumn) float64 {
	var c cell.Cell
	most := 0.0
	for x, i := range h.touched {
		c = *s.cells[i]
		h.correct(x, &c)
		most = max(most, math.Abs(l.get(&c)-l.get(s.cells[i])))
	}
	return most
}
