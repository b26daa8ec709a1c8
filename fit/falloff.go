package fit

import (
	"cmp"
	"evenpole/profiles"
	"math"
	"slices"
	"strings"
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
	refDiameter = 0.35 // mm
	refGap      = 3.5  // mm, pole top to axis
	refPitch    = 200  // Hz
)

// The fixed parameters that every falloff model has; one for each wrap
// follows. All are in the scale in which they are fitted.
const (
	pLevel     = iota // ln mV
	pArea             // p
	pVelocity         // q
	pSlope            // ln s, s in 1/mm
	pBend             // ln o, o in mm
	pSteepness        // t
	pProtrude         // c, 1/mm
	pEnd              // e
	pBendSteel        // u
	pField            // b
	pWrap             // ln of the factor that all wraps share
	pFixed            // number of these
)

// wrapPriors are the prior weights of wraps and how far one may be off on its
// own (standard deviation of the logarithm): the saturation polarisation of
// what is wound relative to iron's 2.15 T (0.61 T nickel; B. D. Cullity, C. D.
// Graham, Introduction to Magnetic Materials), times pi/4 for round turns that
// touch, times an assumed 0.4 for the gaps that the flux meets from turn to
// turn. All wraps share the uncertainty of that last factor. Of their own they
// may be off by more than the two of the bench in testdata, whose weights stand to
// each other within 0.2 of what this says.
var wrapPriors = map[string]Normal{
	"nickel":              {math.Log(0.28 * math.Pi / 4 * 0.4), 0.3},
	"nickel_plated_steel": {math.Log(0.92 * math.Pi / 4 * 0.4), 0.3},
	"stainless":           {math.Log(0.70 * math.Pi / 4 * 0.4), 0.35},
	"bronze":              {math.Log(0.003), 0.5}, // not magnetic
	"phosphor_bronze":     {math.Log(0.003), 0.5},
}

// unknownWrap is the prior of a wrap with a name of the user's own: anywhere
// between bronze and steel.
var unknownWrap = Normal{math.Log(0.08), 1}

func wrapPrior(wrap string) Normal {
	if p, ok := wrapPriors[wrap]; ok {
		return p
	}
	return unknownWrap
}

// curve is the model's equation for one kind of excitation and a list of wraps,
// which have parameters of their own, in order, behind the fixed ones.
type curve struct {
	Wraps  []string `json:"wraps"`
	Excite string   `json:"excite"` // how strings were set moving
	Pitch  bool     `json:"pitch"`  // every string's pitch is known; else the model goes without
}

func (c *curve) size() int { return pFixed + len(c.Wraps) }

// names lists the parameters as files and reports name them.
func (c *curve) names() []string {
	names := []string{"level", "area_exponent", "velocity_exponent", "falloff_slope", "falloff_bend",
		"steepness", "protrusion", "end_loss", "bend_exponent", "field_exponent", "wrap_common"}
	for _, w := range c.Wraps {
		names = append(names, "wrap_"+w)
	}
	return names
}

// weight is k_wrap: how much a mm2 of wrap counts beside a mm2 of core.
func (c *curve) weight(th []float64, wrap string) float64 {
	if wrap == "plain" {
		return 0
	}
	k := wrapPrior(wrap).Mean
	if i := slices.Index(c.Wraps, wrap); i >= 0 {
		k = th[pFixed+i]
	}
	return math.Exp(th[pWrap] + k)
}

// logArea is ln A.
func (c *curve) logArea(th []float64, s *site) float64 {
	area := s.core*s.core + c.weight(th, s.wrap)*(s.gauge*s.gauge-s.core*s.core)
	return math.Log(area / (refDiameter * refDiameter))
}

// gapTerm is the falloff from the reference gap to the site's.
func (c *curve) gapTerm(th []float64, logArea, gap float64) float64 {
	bend := math.Exp(th[pBend] + th[pBendSteel]*logArea)
	slope := math.Exp(th[pSlope] + th[pSteepness]*logArea)
	at := math.Max(gap+bend, 0.05) // a typing slip may put the string inside its pole
	return -slope * (refGap + bend) * math.Log(at/(refGap+bend))
}

// endTerm is N and its slope with the gap: 1 at a gap of 3 mm for one missing
// neighbour at the usual spacing. To leading order the share of a pole to the
// side grows as (gap/spacing)^2, which the exact field of a row of rods bears
// out to within its sign near the poles; how much it counts is e, which the data
// tell. It is carried no farther than what rows and gaps of pickups are like:
// spacings of 8 mm and more, gaps up to 8 mm.
func (s *site) endTerm(gap float64) (n, slope float64) {
	const closest, farthest = 8, 8 // mm
	spacing := max(closest, cmp.Or(s.spacing, profiles.UsualSpacing))
	scale := profiles.UsualSpacing / (3 * spacing)
	at := min(max(0, gap), farthest)
	n = float64(s.missing) * square(scale*at)
	if at == gap {
		slope = 2 * float64(s.missing) * scale * scale * gap
	}
	return n, slope
}

// predict returns the mean of ln v, for strings that lie lift mm higher than
// they were said to.
func (c *curve) predict(th []float64, s *site, lift float64) float64 {
	gap := s.gap() + lift
	a := c.logArea(th, s)
	end, _ := s.endTerm(gap)
	return th[pLevel] + th[pArea]*a + th[pVelocity]*s.velocity + c.gapTerm(th, a, gap) +
		th[pProtrude]*s.height - th[pEnd]*end + th[pField]*s.field
}

// gradient writes d predict / d th into dst and returns the slope with lift.
func (c *curve) gradient(dst, th []float64, s *site, lift float64) float64 {
	gap := s.gap() + lift
	a := c.logArea(th, s)
	bend := math.Exp(th[pBend] + th[pBendSteel]*a)
	slope := math.Exp(th[pSteepness]*a + th[pSlope])
	at := math.Max(gap+bend, 0.05)
	l := math.Log(at / (refGap + bend))
	fall := c.gapTerm(th, a, gap)
	byBend := -slope * bend * (l + (refGap+bend)/at - 1)
	perArea := th[pArea] + th[pSteepness]*fall + th[pBendSteel]*byBend
	clear(dst)
	dst[pLevel] = 1
	dst[pArea] = a
	dst[pVelocity] = s.velocity
	dst[pSlope] = fall
	dst[pSteepness] = a * fall
	dst[pBend] = byBend
	dst[pBendSteel] = a * byBend
	dst[pProtrude] = s.height
	end, endSlope := s.endTerm(gap)
	dst[pEnd] = -end
	dst[pField] = s.field
	if k := c.weight(th, s.wrap); k > 0 {
		wrapArea := k * (s.gauge*s.gauge - s.core*s.core)
		share := perArea * wrapArea / (s.core*s.core + wrapArea)
		dst[pWrap] = share
		if i := slices.Index(c.Wraps, s.wrap); i >= 0 {
			dst[pFixed+i] = share
		}
	}
	return -slope*(refGap+bend)/at - th[pEnd]*endSlope
}

// wrapsOf lists the wraps of sites in alphabetical order, plain left out.
func wrapsOf(sites []*site) []string {
	var wraps []string
	for _, s := range sites {
		if s.wrap != "plain" && !slices.Contains(wraps, s.wrap) {
			wraps = append(wraps, s.wrap)
		}
	}
	slices.SortFunc(wraps, strings.Compare)
	return wraps
}

// plainDiameter is the diameter, mm, of a plain string of some area.
func plainDiameter(logArea float64) float64 { return refDiameter * math.Exp(logArea/2) }
