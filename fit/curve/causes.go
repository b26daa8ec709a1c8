package curve

import (
	"math"
	"math/bits"
)

// An explanation splits the balance of a pickup's strings into causes. The
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

// The causes that the curve knows: each is some of a site's inputs.
const (
	byCore = iota
	byWrap
	ByVelocity
	byAxis
	byTop
	byProtrusion
	byNeighbours
	byField
	siteCauses // how many there are
)

var Causes = [siteCauses]Cause{
	byCore:       {"core", "steel in the core"},
	byWrap:       {"wrap", "steel in the wrap"},
	ByVelocity:   {"pitch", "how fast the string moves"},
	byAxis:       {"string_height", "gap: height of the string"},
	byTop:        {"pole_height", "gap: height of the pole"},
	byProtrusion: {"protrusion", "pole out of the coil"},
	byNeighbours: {"neighbours", "end of the row"},
	byField:      {"field", "magnet's measured field"},
}

// hybrid is the site that takes its inputs for each cause from one of other
// sites. A wrap is a layer of some thickness over any core, and a string's
// height is that of its axis.
func hybrid(of *[siteCauses]*Site) Site {
	s := Site{
		Core: of[byCore].Core, Wrap: of[byWrap].Wrap, Velocity: of[ByVelocity].Velocity,
		Height: of[byProtrusion].Height, Missing: of[byNeighbours].Missing, Spacing: of[byNeighbours].Spacing,
		Field: of[byField].Field,
	}
	s.Gauge = s.Core + of[byWrap].Gauge - of[byWrap].Core
	axis := of[byAxis].StringHeight + of[byAxis].Gauge/2
	s.StringHeight = axis - s.Gauge/2 + s.Height - of[byTop].Height // so that the gap is from the pole that counts
	return s
}

// versus splits by how much a site's level lies over another's: ln v by cause.
func (c *Curve) versus(th []float64, a, b *Site) [siteCauses]float64 {
	var value [1 << siteCauses]float64
	for set := range value {
		var of [siteCauses]*Site
		for cause := range of {
			of[cause] = b
			if set>>cause&1 == 1 {
				of[cause] = a
			}
		}
		s := hybrid(&of)
		value[set] = c.Predict(th, &s, 0)
	}
	var parts [siteCauses]float64
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
	return math.Gamma(float64(before+1)) * math.Gamma(float64(siteCauses-before)) / math.Gamma(siteCauses+1)
}

// Split splits the balance of sites, ln v: for each site, by cause.
func (c *Curve) Split(th []float64, sites []*Site) [][siteCauses]float64 {
	out := make([][siteCauses]float64, len(sites))
	for i, a := range sites {
		for j, b := range sites[:i] { // the other way round, the signs turn
			for cause, v := range c.versus(th, a, b) {
				out[i][cause] += v / float64(len(sites))
				out[j][cause] -= v / float64(len(sites))
			}
		}
	}
	return out
}
