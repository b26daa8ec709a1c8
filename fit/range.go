package fit

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"evenpole/fit/cell"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// Range is the range of what a model was fitted to: beyond it, the model extrapolates.
// Lengths in mm.
type Range struct {
	PoleHeight [2]float64      `json:"pole_height_mm"` // least and greatest
	Gap        [2]float64      `json:"gap_mm"`         // pole top to underside
	Core       [2]float64      `json:"core_mm"`
	Arc        [2]float64      `json:"arc_mm"` // see arcOf; zeros where no mounting had three strings in a row
	Wraps      []profiles.Wrap `json:"wraps"`
	Batches    []string        `json:"batches"`
	NoLevels   bool            `json:"no_levels,omitempty"` // no level was in mV: all came from recorders without a calibration

	Under []profiles.Under `json:"under,omitempty"` // kinds of pickups, where any has not one pole a string and one coil
}

// check refuses a range whose ends are not lengths in order.
func (r *Range) check() error {
	const most = 1000 // mm
	for _, f := range []struct {
		key string
		of  [2]float64
	}{{"pole_height_mm", r.PoleHeight}, {"gap_mm", r.Gap}, {"core_mm", r.Core}, {"arc_mm", r.Arc}} {
		if !(f.of[0] <= f.of[1] && within(f.of[0], 0, most) && within(f.of[1], 0, most)) {
			return fmt.Errorf("range: %s: expected two lengths in mm, the lesser first, got %g and %g", f.key, f.of[0], f.of[1])
		}
	}
	return nil
}

// rangeOf is the range of the cells that no mistake is thought to touch.
func rangeOf(cells []cell.Cell) Range {
	inf := math.Inf(1)
	none := [2]float64{inf, -inf}
	r := Range{PoleHeight: none, Gap: none, Core: none}
	trusted := cell.Trusting(cells)
	r.NoLevels = len(cells) > 0
	wraps, batches, under := map[profiles.Wrap]bool{}, map[string]bool{}, map[profiles.Under]bool{}
	var last cell.Cell // most cells have what the one before has
	for i := range cells {
		c := &cells[i]
		if !trusted(c) {
			continue
		}
		extend(&r.PoleHeight, c.PoleHeight)
		extend(&r.Gap, c.Gap())
		extend(&r.Core, c.Core)
		if last.Mounting == nil || c.Wrap != last.Wrap {
			wraps[c.Wrap] = true
		}
		if c.Mounting != last.Mounting {
			batches[c.Batch] = true
			under[c.Under] = true
			r.NoLevels = r.NoLevels && c.Scale != ""
		}
		last.Wrap, last.Mounting = c.Wrap, c.Mounting
	}
	delete(batches, "")
	r.Wraps, r.Batches = slices.Sorted(maps.Keys(wraps)), slices.Sorted(maps.Keys(batches))
	if !(len(under) == 1 && under[""]) {
		r.Under = slices.Sorted(maps.Keys(under))
	}
	r.Arc = arcsOf(cells, trusted)
	return r
}

// arcsOf is the least and the greatest rise of the strings' arc among mountings, by the
// cells that are trusted.
func arcsOf(cells []cell.Cell, trusted func(*cell.Cell) bool) [2]float64 {
	out := [2]float64{math.Inf(1), math.Inf(-1)}
	var heights []float64
	for _, mounting := range (&cell.Data{Cells: cells}).Sessions() {
		heights = heights[:0]
		for i := range mounting {
			c := &mounting[i]
			if c.String < 1 || !trusted(c) { // or its number is not known
				continue
			}
			for len(heights) < c.String {
				heights = append(heights, math.NaN())
			}
			heights[c.String-1] = c.StringHeight
		}
		if arc := arcOf(heights); solve.Finite(arc) {
			extend(&out, arc)
		}
	}
	if out[0] > out[1] {
		return [2]float64{}
	}
	return out
}

// arcStrings is for how many strings in a row the rise of an arc is given: rows of
// other lengths on the same fretboard then have the same.
const arcStrings = 6

// arcOf is the rise of the strings' arc, mm: by how much a parabola through the
// undersides, string by string, stands above its chord halfway, for six strings in a
// row. A flat fretboard's is 0. It is not a number where a string is missing or there
// are fewer than three.
func arcOf(heights []float64) float64 {
	n := len(heights)
	if n < 3 {
		return math.NaN()
	}
	middle, mean := float64(n-1)/2, float64(n*n-1)/12 // mean place, and mean of its squared distances
	var cross, spread float64
	for i, h := range heights {
		x := solve.Square(float64(i)-middle) - mean
		cross += x * h
		spread += x * x
	}
	return -cross / spread * solve.Square(float64(arcStrings-1)/2)
}

// radiusOf writes the radius of an arc of this rise, its strings spacing apart, mm.
func radiusOf(rise, spacing float64) string {
	if rise < 0.05 {
		return "flat"
	}
	return profiles.Sprintf("%.0f mm", solve.Square(spacing*(arcStrings-1))/(8*rise)+rise/2)
}

// extend widens a range to a value.
func extend(r *[2]float64, v float64) {
	r[0], r[1] = min(r[0], v), max(r[1], v)
}

// distinct sorts names in place and drops what stands twice.
func distinct[T ~string](names []T) []T {
	slices.Sort(names)
	return slices.Compact(names)
}

// hasWrap reports whether strings of this wrap were measured.
func (r *Range) hasWrap(wrap profiles.Wrap) bool { return slices.Contains(r.Wraps, wrap) }

// arcSlack is by how much the rise of an arc may be beyond what was measured, mm:
// as much as heights that were read to 0.1 mm make of it.
const arcSlack = 0.15

// warnings says where a setup at these heights lies beyond what was measured, by more
// than the error with which a height or a diameter is measured.
func (r *Range) warnings(s *Setup, heights []float64) []string {
	var out []string
	beyond := func(what string, of [2]float64, slack float64, value func(i int) float64) {
		var names []string
		for i := range heights {
			if v := value(i); v < of[0]-slack || v > of[1]+slack {
				names = append(names, strconv.Itoa(i+1))
			}
		}
		if len(names) > 0 {
			out = append(out, profiles.Sprintf("%s of %s beyond what was measured (%.2f to %.2f mm)", what, stringList(names), of[0], of[1]))
		}
	}
	if r.NoLevels {
		out = append(out, "levels in mV are none: all readings are of recorders without a calibration ('evenpole calibrate' makes them true); balances do not need it")
	}
	beyond("pole height", r.PoleHeight, 0.05, func(i int) float64 { return heights[i] })
	beyond("gap", r.Gap, 0.05, func(i int) float64 { return s.StringHeights[i] - heights[i] })
	beyond("core", r.Core, 0.01, func(i int) float64 { return s.Strings[i].Core })
	if arc := arcOf(s.StringHeights); s.Spacing > 0 && r.Arc != [2]float64{} && (arc < r.Arc[0]-arcSlack || arc > r.Arc[1]+arcSlack) {
		measured := radiusOf(r.Arc[1], s.Spacing)
		if to := radiusOf(r.Arc[0], s.Spacing); to != measured {
			measured += " to " + to
		}
		out = append(out, fmt.Sprintf("radius of the strings' arc (%s) beyond what was measured (%s)", radiusOf(arc, s.Spacing), measured))
	}
	for _, w := range r.newWraps(s) {
		out = append(out, fmt.Sprintf("no string with %q wrap was measured: capture one", w))
	}
	if s.Batch != "" && len(r.Batches) > 0 && !slices.Contains(r.Batches, s.Batch) {
		out = append(out, fmt.Sprintf("no pickup with magnets of batch %q was measured", s.Batch))
	}
	return out
}

// The standard deviation of ln v that extrapolation adds, by how far it goes: our
// assumption. The parameters' errors grow, too.
const (
	sdPerGap    = 0.06 // 1/mm
	sdPerHeight = 0.04 // 1/mm
	sdPerCore   = 0.15 // per ln mm
)

// extrapolationVariance is the variance of ln v that a gap, a height and a core (mm) add
// by lying beyond the range; none where there is no range.
func (r *Range) extrapolationVariance(gap, height, core float64) float64 {
	out := func(v float64, of [2]float64) float64 { return max(0, of[0]-v, v-of[1]) }
	if !(r.Core[0] > 0) {
		return 0
	}
	logs := [2]float64{math.Log(r.Core[0]), math.Log(r.Core[1])}
	return solve.Square(sdPerGap*out(gap, r.Gap)) + solve.Square(sdPerHeight*out(height, r.PoleHeight)) + solve.Square(sdPerCore*out(math.Log(core), logs))
}

// severalKinds says that pickups of more than one kind were measured; "" where not.
func (r *Range) severalKinds() string {
	if len(r.Under) < 2 {
		return ""
	}
	var words []string
	for _, u := range r.Under {
		words = append(words, u.Words())
	}
	return fmt.Sprintf("pickups of several kinds were measured (%s), and one curve is fitted to all: what is said of each is truer of a record of its kind alone ('evenpole record export --pickup', then 'fit --readings')", strings.Join(words, "; "))
}

// newWraps lists the wraps of a setup that were not measured.
func (r *Range) newWraps(s *Setup) []profiles.Wrap {
	var wraps []profiles.Wrap
	for _, str := range s.Strings {
		if !r.hasWrap(str.Wrap) {
			wraps = append(wraps, str.Wrap)
		}
	}
	return distinct(wraps)
}

// stringList reads "string 2" or "strings 2, 3".
func stringList(numbers []string) string {
	if len(numbers) == 1 {
		return "string " + numbers[0]
	}
	return "strings " + strings.Join(numbers, ", ")
}
