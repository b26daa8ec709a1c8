package curve

// Steels is a Curve at some parameters, for sites under a few strings: what follows from
// their steel alone is worked out once. It may be used by several goroutines at once.
type Steels struct {
	th []float64
	of []steel
}

// Steels is the curve at parameters that do not change as long as it is used, under the
// strings of some sites.
func (c *Curve) Steels(th []float64, strings []*Site) *Steels {
	s := &Steels{th: th, of: make([]steel, len(strings))}
	for k := range strings {
		s.of[k] = c.steel(th, strings[k])
	}
	return s
}

// LogReach is ln((gap + o)/(g + o)) of the equation, for a site under string k that lies
// lift mm higher than it was said to: what Linear takes longest for.
func (s *Steels) LogReach(k int, at *Site, lift float64) float64 {
	return s.of[k].logReach(at.Gap() + lift)
}

// Linear is what [At.Linear] is, for a site under string k with its LogReach.
func (s *Steels) Linear(dst []float64, k int, at *Site, lift, logReach float64) (value, byLift float64) {
	return linearAt(dst, s.th, at, &s.of[k], lift, logReach)
}

// Predict is what [Curve.Predict] is, for a site under string k that lies where it was
// said to.
func (s *Steels) Predict(k int, at *Site) float64 {
	gap, of := at.Gap(), &s.of[k]
	end, _ := at.endTerm(gap)
	return sum(s.th, at, of.logArea, of.gapTerm(gap), end)
}
