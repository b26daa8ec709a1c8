package curve

import (
	"cmp"
	"math"
	"slices"

	"evenpole/fit/solve"
	"evenpole/profiles"
)

// The falloff model. For one string over one pole, with y = ln v:
//
//	y = level + p ln A + q X - s(A) (g + o) ln((gap + o)/(g + o)) + c h - e N + b ln B
//
//	A    effective steel area, relative to a plain string of refDiameter:
//	     core^2 + k_wrap (gauge^2 - core^2)
//	X    ln of the string's velocity at the pickup for its kind of excitation
//	s(A) falloff per mm at the reference gap g, s A^t: thin strings saturate
//	     and fall more slowly
//	gap  from the pole's top to the string's axis, mm
//	o    how the falloff bends, o A^u: small o falls steeply near the pole; thin
//	     strings saturate there and do not
//	h    the pole's height over the bobbin plane, mm
//	N    what a string at the end of the row misses of a neighbouring pole
//	B    flux density over the pole against others of its batch, where measured
//
// The fall by s at the reference gap and the bend o are told apart well; a
// power n and an offset, one curve by two numbers, are not. By the string's
// underside instead of its axis, thick strings would look weaker than they are.
const (
	RefDiameter = 0.35 // mm
	RefGap      = 3.5  // mm, pole top to axis
	refPitch    = 200  // Hz
)

// The fixed parameters that every falloff model has; one for each wrap
// follows. All are in the scale in which they are fitted.
const (
	PLevel     = iota // ln mV
	PArea             // p
	PVelocity         // q
	PSlope            // ln s, s in 1/mm
	PBend             // ln o, o in mm
	PSteepness        // t
	PProtrude         // c, 1/mm
	PEnd              // e
	PBendSteel        // u
	PField            // b
	PWrap             // ln of the factor that all wraps share
	PFixed            // number of these
)

// wrapPriors are the prior weights of wraps and how far one may be off on its
// own (standard deviation of the logarithm): the saturation polarisation of
// what is wound relative to iron's 2.15 T (0.61 T nickel; B. D. Cullity, C. D.
// Graham, Introduction to Magnetic Materials), times pi/4 for round turns that
// touch, times an assumed 0.4 for the gaps that the flux meets from turn to
// turn. All wraps share the uncertainty of that last factor. Of their own they
// may be off by more than the two of the bench in testdata, whose weights stand to
// each other within 0.2 of what this says.
var wrapPriors = map[profiles.Wrap]solve.Normal{
	profiles.Nickel:            {Mean: math.Log(0.28 * math.Pi / 4 * 0.4), SD: 0.3},
	profiles.NickelPlatedSteel: {Mean: math.Log(0.92 * math.Pi / 4 * 0.4), SD: 0.3},
	profiles.Stainless:         {Mean: math.Log(0.70 * math.Pi / 4 * 0.4), SD: 0.35},
	profiles.Bronze:            {Mean: math.Log(0.003), SD: 0.5}, // not magnetic
	profiles.PhosphorBronze:    {Mean: math.Log(0.003), SD: 0.5},
}

// unknownWrap is the prior of a wrap with a name of the user's own: anywhere
// between bronze and steel.
var unknownWrap = solve.Normal{Mean: math.Log(0.08), SD: 1}

func WrapPrior(wrap profiles.Wrap) solve.Normal {
	if p, ok := wrapPriors[wrap]; ok {
		return p
	}
	return unknownWrap
}

// Curve is the model's equation for one kind of excitation and a list of wraps,
// which have parameters of their own, in order, behind the fixed ones.
type Curve struct {
	Wraps  []profiles.Wrap     `json:"wraps"`
	Excite profiles.Excitation `json:"excite"` // how strings were set moving
	Pitch  bool                `json:"pitch"`  // every string's pitch is known; else the model goes without
}

func (c *Curve) Size() int { return PFixed + len(c.Wraps) }

// Names lists the parameters as files and reports name them.
func (c *Curve) Names() []string {
	names := []string{"level", "area_exponent", "velocity_exponent", "falloff_slope", "falloff_bend",
		"steepness", "protrusion", "end_loss", "bend_exponent", "field_exponent", "wrap_common"}
	for _, w := range c.Wraps {
		names = append(names, "wrap_"+string(w))
	}
	return names
}

// Weight is k_wrap: how much a mm2 of wrap counts beside a mm2 of core.
func (c *Curve) Weight(th []float64, wrap profiles.Wrap) float64 {
	if wrap == profiles.Plain {
		return 0
	}
	k := WrapPrior(wrap).Mean
	if i := slices.Index(c.Wraps, wrap); i >= 0 {
		k = th[PFixed+i]
	}
	return math.Exp(th[PWrap] + k)
}

// LogArea is ln A.
func (c *Curve) LogArea(th []float64, s *Site) float64 {
	area := s.Core*s.Core + c.Weight(th, s.Wrap)*(s.Gauge*s.Gauge-s.Core*s.Core)
	return math.Log(area / (RefDiameter * RefDiameter))
}

// GapTerm is the falloff from the reference gap to the site's.
func (c *Curve) GapTerm(th []float64, logArea, gap float64) float64 {
	bend := math.Exp(th[PBend] + th[PBendSteel]*logArea)
	slope := math.Exp(th[PSlope] + th[PSteepness]*logArea)
	at := math.Max(gap+bend, 0.05) // a typing slip may put the string inside its pole
	return -slope * (RefGap + bend) * math.Log(at/(RefGap+bend))
}

// endTerm is N and its slope with the gap: 1 at a gap of 3 mm for one missing
// neighbour at the usual spacing. To leading order the share of a pole to the
// side grows as (gap/spacing)^2, which the exact field of a row of rods bears
// out to within its sign near the poles; how much it counts is e, which the data
// tell. It is carried no farther than what rows and gaps of pickups are like:
// spacings of 8 mm and more, gaps up to 8 mm.
func (s *Site) endTerm(gap float64) (n, slope float64) {
	const closest, farthest = 8, 8 // mm
	spacing := max(closest, cmp.Or(s.Spacing, profiles.UsualSpacing))
	scale := profiles.UsualSpacing / (3 * spacing)
	at := min(max(0, gap), farthest)
	n = float64(s.Missing) * square(scale*at)
	if at == gap {
		slope = 2 * float64(s.Missing) * scale * scale * gap
	}
	return n, slope
}

// Predict returns the mean of ln v, for strings that lie lift mm higher than
// they were said to.
func (c *Curve) Predict(th []float64, s *Site, lift float64) float64 {
	gap := s.Gap() + lift
	a := c.LogArea(th, s)
	end, _ := s.endTerm(gap)
	return th[PLevel] + th[PArea]*a + th[PVelocity]*s.Velocity + c.GapTerm(th, a, gap) +
		th[PProtrude]*s.Height - th[PEnd]*end + th[PField]*s.Field
}

// Gradient writes d predict / d th into dst and returns the slope with lift.
func (c *Curve) Gradient(dst, th []float64, s *Site, lift float64) float64 {
	gap := s.Gap() + lift
	a := c.LogArea(th, s)
	bend := math.Exp(th[PBend] + th[PBendSteel]*a)
	slope := math.Exp(th[PSteepness]*a + th[PSlope])
	at := math.Max(gap+bend, 0.05)
	l := math.Log(at / (RefGap + bend))
	fall := c.GapTerm(th, a, gap)
	byBend := -slope * bend * (l + (RefGap+bend)/at - 1)
	perArea := th[PArea] + th[PSteepness]*fall + th[PBendSteel]*byBend
	clear(dst)
	dst[PLevel] = 1
	dst[PArea] = a
	dst[PVelocity] = s.Velocity
	dst[PSlope] = fall
	dst[PSteepness] = a * fall
	dst[PBend] = byBend
	dst[PBendSteel] = a * byBend
	dst[PProtrude] = s.Height
	end, endSlope := s.endTerm(gap)
	dst[PEnd] = -end
	dst[PField] = s.Field
	if k := c.Weight(th, s.Wrap); k > 0 {
		wrapArea := k * (s.Gauge*s.Gauge - s.Core*s.Core)
		share := perArea * wrapArea / (s.Core*s.Core + wrapArea)
		dst[PWrap] = share
		if i := slices.Index(c.Wraps, s.Wrap); i >= 0 {
			dst[PFixed+i] = share
		}
	}
	return -slope*(RefGap+bend)/at - th[PEnd]*endSlope
}

// WrapsOf lists the wraps of sites in alphabetical order, plain left out.
func WrapsOf(sites []*Site) []profiles.Wrap {
	var wraps []profiles.Wrap
	for _, s := range sites {
		if s.Wrap != profiles.Plain && !slices.Contains(wraps, s.Wrap) {
			wraps = append(wraps, s.Wrap)
		}
	}
	slices.Sort(wraps)
	return wraps
}

// PlainDiameter is the diameter, mm, of a plain string of some area.
func PlainDiameter(logArea float64) float64 { return RefDiameter * math.Exp(logArea/2) }

func square(v float64) float64 { return v * v }
