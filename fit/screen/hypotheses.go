package screen

import "math"

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
	workedOut := s.cells[b.mounting[0]].Under.HasTwoCoils()
	for _, l := range lengths {
		if l == poleLength && workedOut { // of both rows of poles: nobody typed it
			continue
		}
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
