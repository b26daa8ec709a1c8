package curve

// Steels is a Curve at some parameters, for many sites under a few strings: what follows
// from these alone is worked out once. It may be used by several goroutines at once.
type Steels struct {
	th []float64
	of []stringRow
}

// stringRow is what a string makes of its sites' rows: what multiplies what of the curve
// differs between them.
type stringRow struct {
	steel
	site                   *Site   // its core, gauge, wrap, and place in the row
	reference              float64 // g + o
	atFall, atBend         float64 // of the offset, see Row
	atWeight               float64 // likewise
	byArea, byFall, byBend float64 // of the derivative by k_wrap
}

// Place is what differs between sites under one string.
type Place struct {
	Height, StringHeight float64 // mm, of the pole and of the string's underside
	Velocity, Field      float64 // as those of a [Site]
}

// Steels is the curve at parameters that do not change as long as it is used, under the
// strings of some sites.
func (c *Curve) Steels(th []float64, strings []*Site) *Steels {
	s := &Steels{th: th, of: make([]stringRow, len(strings))}
	for k, at := range strings {
		of := stringRow{steel: c.steel(th, at), site: at}
		of.reference = RefGap + of.bend
		of.atFall = 1 - th[Slope] - th[Steepness]*of.logSaturating - th[WoundSlope]*(of.wrapSaturating-RefWrap)
		of.atBend = -th[Bend] - th[BendExponent]*of.logSaturating
		if of.atWeight = -th[WrapCommon]; of.wrapAt >= 0 {
			of.atWeight -= th[of.wrapAt]
		}
		of.byArea, of.byFall, of.byBend = of.areaByWeight(th), of.fallByWeight(th), of.bendByWeight(th)
		s.of[k] = of
	}
	return s
}

// gap is that of a place under string k.
func (s *Steels) gap(k int, at *Place) float64 {
	return at.StringHeight + s.of[k].site.Gauge/2 - at.Height
}

// LogReach is ln((gap + o)/(g + o)) of the equation at a place under string k that lies
// lift mm higher than it was said to: what Row would take longest for.
func (s *Steels) LogReach(k int, at Place, lift float64) float64 {
	return s.of[k].logReach(s.gap(k, &at) + lift)
}

// Row writes the derivatives of Predict by the parameters into dst, unless that has no
// entries, at a place with its LogReach, and returns the derivative by lift, and what
// Predict is beyond the derivatives times the parameters.
func (s *Steels) Row(dst []float64, k int, at Place, lift, logReach float64) (offset, byLift float64) {
	of, th := &s.of[k], s.th
	gap := s.gap(k, &at) + lift
	over, atRef := fallOver(th, at.Height), -of.slope*of.reference*logReach
	steep := -of.slope * of.reference / of.reach(gap) * over
	fall := atRef * over
	byBend := -of.slope*of.bend*(logReach-1)*over + of.bend*steep
	end, endSlope := of.site.endTerm(gap)
	byLift = steep - th[EndLoss]*endSlope
	offset = of.atFall*fall + of.atBend*byBend + atRef - fall
	byWeight := 0.0
	if of.wrap > 0 {
		byWeight = of.byArea + of.byFall*fall + of.byBend*byBend
		offset += of.atWeight * byWeight
	}
	if len(dst) > 0 {
		of.write(dst, at, of.site.Missing, atRef, fall, byBend, end, byWeight)
	}
	return offset, byLift
}

// Predict is what [Curve.Predict] is, at a place under string k that lies lift mm higher
// than it was said to.
func (s *Steels) Predict(k int, at Place, lift float64) float64 {
	of := &s.of[k]
	gap := s.gap(k, &at) + lift
	end, _ := of.site.endTerm(gap)
	return sum(s.th, &Site{Velocity: at.Velocity, Height: at.Height, Field: at.Field, Missing: of.site.Missing}, &of.steel, of.gapTerm(gap)*fallOver(s.th, at.Height), end)
}
