package screen

import "math"

// hypotheses lists the mistakes that a mounting may hold. A mistake of a new kind is a
// list of hypotheses more. Those of one list are alternatives: each is the less
// likely beforehand the more there are.
func (s *screener) hypotheses(m mounting) []*hypothesis {
	var out []*hypothesis
	add := func(list []*hypothesis) {
		for _, h := range list {
			h.prior -= math.Log(float64(len(list)))
		}
		out = append(out, list...)
	}
	for _, l := range lengths {
		single, whole := s.scaled(m, l)
		add(single)
		add(whole)
		if l.swap != "" {
			add(s.swapped(m, l))
		}
	}
	add(s.reversed(m))
	add(s.otherSets(m))
	add(s.otherPickups(m))
	return out
}
