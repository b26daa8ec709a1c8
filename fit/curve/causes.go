package curve

import (
	"math"
	"math/bits"
)

// Causes split the balance of a pickup's strings into causes. The
// model is not a sum (how much the steel counts depends on the gap, how much the
// wrap counts on the core), so that no split is the only one. This one is the
// Shapley value (L. S. Shapley, A value for n-person games, in Contributions to
// the Theory of Games II, 1953; as a way to split any figure with several
// causes: A. F. Shorrocks, Decomposition procedures for distributional
// analysis, J. Econ. Inequal. 11, 2013; both from memory): string i is turned
// into string j one cause at a time, and what a cause changes is averaged over
// all orders in which this can be done. A string's share of a cause is the mean
// over all strings j, itself among them. Hence no string or gap has to be
// chosen to compare with, the shares of a string add up to its balance exactly,
// and those of a cause average zero over the strings.
//
// What is split are the inputs of the curve, not its terms: a new term of known
// inputs is split with no change here.

// Cause is one cause of balance.
type Cause struct {
	Name  string `json:"name"`  // the key of its parts
	Words string `json:"words"` // for people
}

// The places of the causes that the curve knows: each is some of a site's inputs.
const (
	coreCause = iota
	wrapCause
	VelocityCause
	axisCause
	topCause
	protrusionCause
	neighboursCause
	fieldCause
	numCauses // how many there are
)

// Causes are the causes that the curve knows.
var Causes = [numCauses]Cause{
	coreCause:       {"core", "steel in the core"},
	wrapCause:       {"wrap", "steel in the wrap"},
	VelocityCause:   {"pitch", "how fast the string moves"},
	axisCause:       {"string_height", "gap: height of the string"},
	topCause:        {"pole_height", "gap: height of the pole"},
	protrusionCause: {"protrusion", "pole out of the coil"},
	neighboursCause: {"neighbours", "end of the row"},
	fieldCause:      {"field", "magnet's measured field"},
}

// hybrid is the site that takes its inputs for each cause from the site of that
// cause. A wrap is a layer of some thickness over any core, and a string's
// height is that of its axis.
func hybrid(of *[numCauses]*Site) Site {
	s := Site{
		Core: of[coreCause].Core, Wrap: of[wrapCause].Wrap, Velocity: of[VelocityCause].Velocity,
		Height: of[protrusionCause].Height, Missing: of[neighboursCause].Missing, Spacing: of[neighboursCause].Spacing,
		Field: of[fieldCause].Field,
	}
	s.Gauge = s.Core + of[wrapCause].Gauge - of[wrapCause].Core
	axis := of[axisCause].StringHeight + of[axisCause].Gauge/2
	s.StringHeight = axis - s.Gauge/2 + s.Height - of[topCause].Height // so that the gap is from the pole that counts
	return s
}

// splitDifference splits by how much the level of site a lies over that of site b:
// ln v by cause.
func (c *Curve) splitDifference(th []float64, a, b *Site) [numCauses]float64 {
	var value [1 << numCauses]float64
	for set := range value {
		var of [numCauses]*Site
		for cause := range of {
			of[cause] = b
			if set>>cause&1 == 1 {
				of[cause] = a
			}
		}
		s := hybrid(&of)
		value[set] = c.Predict(th, &s, 0)
	}
	var parts [numCauses]float64
	for set := range value {
		for cause := range parts {
			if set>>cause&1 == 0 {
				parts[cause] += shapleyWeight(bits.OnesCount(uint(set))) * (value[set|1<<cause] - value[set])
			}
		}
	}
	return parts
}

// shapleyWeight is the share of all orders of the causes in which exactly some
// given ones, as many as before, stand before another given one.
func shapleyWeight(before int) float64 {
	return math.Gamma(float64(before+1)) * math.Gamma(float64(numCauses-before)) / math.Gamma(numCauses+1)
}

// Split splits the balance of sites, ln v: for each site, by cause.
func (c *Curve) Split(th []float64, sites []*Site) [][numCauses]float64 {
	out := make([][numCauses]float64, len(sites))
	for i, a := range sites {
		for j, b := range sites[:i] { // the other way round, the signs turn
			for cause, v := range c.splitDifference(th, a, b) {
				out[i][cause] += v / float64(len(sites))
				out[j][cause] -= v / float64(len(sites))
			}
		}
	}
	return out
}
