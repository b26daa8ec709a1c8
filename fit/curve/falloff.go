package curve

import (
	"math"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// Curve is the equation of the falloff model, for one kind of excitation and a list
// of wraps, which have parameters of their own, in order, behind the fixed ones.
// For one string over one pole, with y = ln v:
//
//	y = level + p ln A + r W (ln A - a) + q X
//	    - s(S) (1 + z (h - h0)) (g + o) ln((gap + o)/(g + o)) + c h - e N - f n + b ln B
//
//	A    effective steel area, relative to a plain string of [RefDiameter]:
//	     core^2 + k_wrap (gauge^2 - core^2)
//	W    share of A that is wrap, and a the ln A of a usual wound string: how level
//	     follows the area need not be the same for wound strings
//	X    ln of the string's velocity at the pickup for its kind of excitation
//	S    the area by which a string saturates: as A, but that the wrap counts
//	     three times as much
//	s(S) falloff per mm at the reference gap g, s S^t exp(w (V - 1)): thin
//	     strings saturate and fall more slowly
//	V    share of S that is wrap: turns with gaps between them saturate later than a
//	     core, so that wound strings fall faster than plain ones
//	gap  from the pole's top to the string's axis, mm
//	o    how the falloff bends, o S^u: small o falls steeply near the pole; thin
//	     strings saturate there and do not
//	h    the pole's height over the bobbin plane, mm, and h0 a usual one: over a pole
//	     that stands further out of its coil and of the row's field, level falls
//	     more gently
//	N    what a string at the end of the row misses of a neighbouring pole, by the gap;
//	     n neighbours are missing
//	B    flux density over the pole against others of its batch, where measured
//
// The fall by s at the reference gap and the bend o are told apart well; a
// power n and an offset, one curve by two numbers, are not. By the string's
// underside instead of its axis, thick strings would look weaker than they are.
type Curve struct {
	Wraps  []profiles.Wrap     `json:"wraps"`
	Excite profiles.Excitation `json:"excite"` // how strings were set moving
	Pitch  bool                `json:"pitch"`  // every string's pitch is known; else the model goes without
}

// Size is the number of parameters.
func (c *Curve) Size() int { return FixedParameters + len(c.Wraps) }

// Names lists the parameters as files and reports name them.
func (c *Curve) Names() []string {
	names := slices.Clone(fixedNames[:])
	for _, w := range c.Wraps {
		names = append(names, "wrap_"+string(w))
	}
	return names
}

// Priors lists the priors of all parameters.
func (c *Curve) Priors() []solve.Normal {
	out := slices.Clone(FixedPriors[:])
	for _, w := range c.Wraps {
		out = append(out, WrapPrior(w))
	}
	return out
}

// CellSite is the site of a cell of a pickup whose highest string is last.
func (c *Curve) CellSite(of *cell.Cell, last int) *Site {
	s := new(Site) // inlined, so that it need not be on the heap
	c.setSite(s, of, last)
	return s
}

func (c *Curve) setSite(s *Site, of *cell.Cell, last int) {
	*s = Site{
		Core: of.Core, Gauge: max(of.Gauge, of.Core), Wrap: of.Wrap, Height: of.PoleHeight, StringHeight: of.StringHeight,
		Missing: MissingNeighbours(of.String, last), Field: of.Field,
	}
	if c.Pitch {
		s.Velocity = c.CellVelocity(of)
	}
}

// CellVelocity is the equation's X of a cell.
func (c *Curve) CellVelocity(of *cell.Cell) float64 {
	return RelativeVelocity(c.Excite, of.Freq, profiles.String{Gauge: max(of.Gauge, of.Core), Core: of.Core, Wrap: of.Wrap})
}

// WrapWeight is k_wrap: how much a mm2 of wrap counts beside a mm2 of core.
func (c *Curve) WrapWeight(th []float64, wrap profiles.Wrap) float64 {
	if wrap == profiles.Plain {
		return 0
	}
	k := WrapPrior(wrap).Mean
	if i := slices.Index(c.Wraps, wrap); i >= 0 {
		k = th[FixedParameters+i]
	}
	return math.Exp(th[WrapCommon] + k)
}

// saturatingWrap is how many times more a wrap counts beside the core in S than in A. Levels
// tell it to within a factor only: worlds of [evenpole/bench/handbook] have
// ln 1.25 +- 1.3, rows of the field solver of testdata ln 1.07 and 1.27.
const saturatingWrap = 3

// steel is what follows from a string's steel alone, at some parameters.
type steel struct {
	logArea, wrap                 float64 // ln A and W
	logSaturating, wrapSaturating float64 // ln S and V
	slope, bend                   float64 // s and o
	wrapAt                        int     // the parameter of its wrap; -1 where it has none
}

func (c *Curve) steel(th []float64, s *Site) steel {
	core := s.Core * s.Core
	wrap := c.WrapWeight(th, s.Wrap) * (s.Gauge*s.Gauge - core)
	of := steel{wrapAt: -1}
	of.logArea, of.wrap = logAndShare(core, wrap)
	of.logSaturating, of.wrapSaturating = logAndShare(core, saturatingWrap*wrap)
	of.bend = math.Exp(th[Bend] + th[BendExponent]*of.logSaturating)
	of.slope = math.Exp(th[Slope] + th[Steepness]*of.logSaturating + th[WoundSlope]*(of.wrapSaturating-RefWrap))
	if i := slices.Index(c.Wraps, s.Wrap); i >= 0 {
		of.wrapAt = FixedParameters + i
	}
	return of
}

// logAndShare is ln of the sum of two areas, mm2, relative to a plain string of
// [RefDiameter], and the share of the second one.
func logAndShare(core, wrap float64) (log, share float64) {
	return math.Log((core + wrap) / (RefDiameter * RefDiameter)), wrap / (core + wrap)
}

// LogArea is ln A.
func (c *Curve) LogArea(th []float64, s *Site) float64 { return c.steel(th, s).logArea }

// PlainDiameter is the diameter, mm, of a plain string of some area.
func PlainDiameter(logArea float64) float64 { return RefDiameter * math.Exp(logArea/2) }

// reach is gap + o.
func (of *steel) reach(gap float64) float64 {
	return max(gap+of.bend, 0.05) // a typing slip may put the string inside its pole
}

// logReach is ln((gap + o)/(g + o)).
func (of *steel) logReach(gap float64) float64 {
	return math.Log(of.reach(gap) / (RefGap + of.bend))
}

// gapTerm is the term of the gap: the change of ln v from the reference gap to
// another, for a string of some steel.
func (of *steel) gapTerm(gap float64) float64 {
	return -of.slope * (RefGap + of.bend) * of.logReach(gap)
}

// Predict returns the mean of ln v, for strings that lie lift mm higher than
// they were said to.
func (c *Curve) Predict(th []float64, s *Site, lift float64) float64 {
	gap := s.Gap() + lift
	of := c.steel(th, s)
	end, _ := s.endTerm(gap)
	return sum(th, s, &of, of.gapTerm(gap)*fallOver(th, s.Height), end)
}

// fallOver is how much of the fall by the gap there is over a pole of some height, mm.
func fallOver(th []float64, height float64) float64 {
	return 1 + th[HeightSlope]*(height-RefHeight)
}

// sum adds up the terms of the equation.
func sum(th []float64, s *Site, of *steel, gapTerm, end float64) float64 {
	return th[Level] + th[AreaExponent]*of.logArea + th[WoundArea]*of.woundTerm() + th[VelocityExponent]*s.Velocity + gapTerm +
		th[Protrusion]*s.Height - th[EndLoss]*end - th[EndLevel]*float64(s.Missing) + th[FieldExponent]*s.Field
}

// Gradient writes the derivatives of Predict by the parameters into dst, and returns
// the one by lift, ln v per mm.
func (c *Curve) Gradient(dst, th []float64, s *Site, lift float64) float64 {
	of := c.steel(th, s)
	_, byLift := linear(dst, th, s, &of, lift)
	return byLift
}

// linear is Predict and Gradient at once.
func linear(dst, th []float64, s *Site, of *steel, lift float64) (value, byLift float64) {
	gap := s.Gap() + lift
	slope, bend, at, over := of.slope, of.bend, of.reach(gap), fallOver(th, s.Height)
	ratio := of.logReach(gap)
	atRef := -slope * (RefGap + bend) * ratio
	fall := atRef * over
	byBend := -slope * bend * (ratio + (RefGap+bend)/at - 1) * over
	end, endSlope := s.endTerm(gap)
	byWeight := 0.0
	if of.wrap > 0 {
		byWeight = of.areaByWeight(th) + of.fallByWeight(th)*fall + of.bendByWeight(th)*byBend
	}
	of.write(dst, Place{s.Height, s.StringHeight, s.Velocity, s.Field}, s.Missing, atRef, fall, byBend, end, byWeight)
	return sum(th, s, of, fall, end), -slope*(RefGap+bend)/at*over - th[EndLoss]*endSlope
}

// write writes the derivatives by the parameters at a place that lacks so many neighbours:
// atRef and fall are the fall by the gap over a pole of RefHeight and of the place's height,
// byBend and byWeight the derivatives by ln o and ln k_wrap, end is N.
func (of *steel) write(dst []float64, at Place, missing int, atRef, fall, byBend, end, byWeight float64) {
	clear(dst[FixedParameters:])
	_ = dst[FixedParameters-1]
	dst[Level] = 1
	dst[AreaExponent] = of.logArea
	dst[WoundArea] = of.woundTerm()
	dst[VelocityExponent] = at.Velocity
	dst[Slope] = fall
	dst[Steepness] = of.logSaturating * fall
	dst[WoundSlope] = (of.wrapSaturating - RefWrap) * fall
	dst[Bend] = byBend
	dst[BendExponent] = of.logSaturating * byBend
	dst[Protrusion] = at.Height
	dst[HeightSlope] = (at.Height - RefHeight) * atRef
	dst[EndLoss] = -end
	dst[EndLevel] = -float64(missing)
	dst[FieldExponent] = at.Field
	dst[WrapCommon] = byWeight
	if of.wrapAt >= 0 && of.wrap > 0 {
		dst[of.wrapAt] = byWeight
	}
}

// woundTerm is W (ln A - a).
func (of *steel) woundTerm() float64 { return of.wrap * (of.logArea - RefWound) }

// The derivatives by ln k_wrap: of the terms in A, and of the fall and the bend relative to
// those by their own logarithms.

func (of *steel) areaByWeight(th []float64) float64 {
	return of.wrap * (th[AreaExponent] + th[WoundArea]*(of.wrap+(1-of.wrap)*(of.logArea-RefWound)))
}

func (of *steel) fallByWeight(th []float64) float64 {
	return of.wrapSaturating * (th[Steepness] + (1-of.wrapSaturating)*th[WoundSlope])
}

func (of *steel) bendByWeight(th []float64) float64 { return of.wrapSaturating * th[BendExponent] }
