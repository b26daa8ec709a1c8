package curve

import (
	"cmp"
	"math"
	"slices"

	"evenpole/profiles"
)

// Site is one string over one pole: the inputs of the equation.
type Site struct {
	Core, Gauge  float64 // mm
	Wrap         profiles.Wrap
	Height       float64 // mm, of the pole
	StringHeight float64 // mm, underside
	Velocity     float64 // X; 0 when not known
	Missing      int     // neighbours that the string lacks: 0, 1 or 2
	Spacing      float64 // mm
	Field        float64 // ln B; 0 when not measured
}

// Gap is the distance from the pole's top to the string's axis, mm.
func (s *Site) Gap() float64 { return s.StringHeight + s.Gauge/2 - s.Height }

// endTerm is N and its slope with the gap: 1 at a gap of 3 mm for one missing
// neighbour at the usual spacing. To leading order the share of a pole to the
// side grows as (gap/spacing)^2; near the poles, whose iron the neighbours magnetise,
// too, it grows more gently: the worlds of [evenpole/bench/handbook] have powers
// of 0.9 to 1.8, and the simulated jig's one of 1.5. With the spacing it falls more gently
// still (a power of 0.4 to 0.6 from 8.5 to 19 mm in those worlds), as poles that are farther
// apart magnetise each other less, too. How much it counts is e, which the data tell. It is
// carried no farther than what rows and gaps of pickups are like: spacings of 8 mm and more,
// gaps up to 8 mm.
func (s *Site) endTerm(gap float64) (n, slope float64) {
	if s.Missing == 0 { // as most strings: a power takes longer than the rest of a prediction
		return 0, 0
	}
	const closest, farthest, power = 8, 8, 1.4 // mm, mm
	spacing := max(closest, cmp.Or(s.Spacing, profiles.UsualSpacing))
	at := min(max(0, gap), farthest)
	n = float64(s.Missing) * math.Sqrt(profiles.UsualSpacing/spacing) * math.Pow(at/3, power)
	if at == gap && gap > 0 {
		slope = power * n / gap
	}
	return n, slope
}

// MissingNeighbours is how many neighbours a string lacks in a pickup whose highest
// string is last.
func MissingNeighbours(number, last int) int {
	n := 0
	if number == 1 {
		n++
	}
	if number == last {
		n++
	}
	return n
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
