package fit

import (
	"fmt"
	"math"
	"strings"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/profiles"
)

// A parameter of which the data gave less than leastFromData stands mostly on its
// prior. The data do not tell two parameters apart whose errors are correlated by more
// than mostCorrelated.
const (
	leastFromData  = 0.5
	mostCorrelated = 0.85
)

// parameterWords are what parameters are called in sentences, and the capture
// that would tell more of each, as the end of a sentence. Those that correct the others
// by little have none: no single capture would tell them.
var parameterWords = [curve.FixedParameters]struct{ name, capture string }{
	curve.AreaExponent:     {"how level follows the steel in a string", "capture string sets with other cores"},
	curve.VelocityExponent: {"how level follows pitch", "capture a pickup with the same strings tuned otherwise, or a set whose gauges go otherwise with its notes"},
	curve.Slope:            {"how steeply level falls with the gap", "capture pickups whose poles stand at different heights"},
	curve.Bend:             {"how the falloff bends", "capture a pickup again with its strings 1 mm higher"},
	curve.Steepness:        {"how the falloff differs between thick and thin strings", "capture thick and thin strings at near and far gaps each"},
	curve.WoundSlope:       {"how the falloff differs between wound and plain strings", "capture wound and plain strings at near and far gaps each"},
	curve.BendExponent:     {"how the bend of the falloff differs between thick and thin strings", "capture thick and thin strings at near and far gaps each"},
	curve.Protrusion:       {"what a pole's height does beside the gap", "capture a pickup again with its strings 0.8 mm higher"},
	curve.EndLoss:          {"what strings at the ends of the row lose", "capture pickups with tall and short poles under the first and the last string"},
	curve.FieldExponent:    {"how level follows a magnet's field", "probe the poles of more test pickups"},
	curve.WrapCommon:       {"how much wraps count", "capture strings of each wrap over cores that plain strings have, too"},
}

// notLearnt says in plain words which parameters stand mostly on their priors, and
// which ones the data do not tell apart, with the captures that would tell them.
func (f *Falloff) notLearnt(cells []cell.Cell) []string {
	var out []string
	weak := map[string][]string{} // by capture
	var captures []string
	for j, w := range parameterWords {
		if w.name == "" || j == curve.FieldExponent && !f.PoleFields || (j == curve.WrapCommon || j == curve.WoundSlope) && len(f.Wraps) == 0 || j == curve.VelocityExponent && !f.Pitch || f.fromData(j) >= leastFromData {
			continue
		}
		if weak[w.capture] == nil {
			captures = append(captures, w.capture)
		}
		weak[w.capture] = append(weak[w.capture], w.name)
	}
	for _, c := range captures {
		out = append(out, fmt.Sprintf("%s: told more by the handbook than by the data; %s", strings.Join(weak[c], ", and "), c))
	}
	return append(out, f.confounded(cells)...)
}

// confounded names the pairs of parameters that the data do not tell apart.
func (f *Falloff) confounded(cells []cell.Cell) []string {
	var out []string
	for i := range parameterWords {
		for j := range i {
			a, b := parameterWords[j], parameterWords[i]
			r := f.Cov[i][j] / math.Sqrt(f.Cov[i][i]*f.Cov[j][j])
			if a.name == "" || b.name == "" || !(math.Abs(r) > mostCorrelated) || f.fromData(i) < leastFromData || f.fromData(j) < leastFromData {
				continue
			}
			out = append(out, profiles.Sprintf("%s, and %s: the data tell them only together (correlation %+.2f); %s", a.name, b.name, r, b.capture))
		}
	}
	if !stringsMoved(cells) && f.fromData(curve.Protrusion) >= leastFromData {
		out = append(out, "no pickup was captured at two string heights: what its poles' heights do and what the gap does are one fact; "+parameterWords[curve.Protrusion].capture)
	}
	return out
}

// stringsMoved reports whether any pole was measured under strings at two
// heights, by more than strings differ in diameter.
func stringsMoved(cells []cell.Cell) bool {
	const moved = 0.3 // mm
	type place struct {
		pickup string
		string int
	}
	seen := map[place][2]float64{}
	for _, c := range cells {
		at := place{c.Pickup, c.String}
		r, ok := seen[at]
		if !ok {
			r = [2]float64{c.StringHeight, c.StringHeight}
		}
		extend(&r, c.StringHeight)
		seen[at] = r
		if r[1]-r[0] > moved {
			return true
		}
	}
	return false
}
