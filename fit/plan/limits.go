package plan

import (
	"fmt"
	"math"
	"slices"

	"evenpole/profiles"
)

// hair is the length, in mm, by which a height may miss a limit unnoticed:
// what is lost where inches become millimetres.
const hair = 1e-6

// limits are the pole heights that an order allows. The grid is the same for
// all strings; a low string cuts it off from above, so that what suits the
// string with the least room suits them all.
type limits struct {
	grid []float64 // mm, ascending: what the shop can set
	room []int     // by string: how many of these, from the lowest, keep the gap
}

func newLimits(o *profiles.Order, stringHeights []float64) (limits, error) {
	l := limits{grid: grid(o), room: make([]int, len(stringHeights))}
	if len(l.grid) == 0 {
		return l, fmt.Errorf("no pole height is allowed: none of pole_heights_mm %v lies from %.2f to %.2f mm",
			o.PoleHeights, o.PoleHeightMin, o.PoleHeightMax)
	}
	for i, s := range stringHeights {
		highest := s - o.RestGap()
		for _, h := range l.grid {
			if h <= highest+hair {
				l.room[i]++
			}
		}
		if l.room[i] == 0 {
			return l, noRoom(o, i, s, l.grid[0])
		}
	}
	return l, nil
}

// noRoom says why no pole fits under string i and what would have to change.
func noRoom(o *profiles.Order, i int, stringHeight, lowest float64) error {
	highest := stringHeight - o.RestGap()
	return fmt.Errorf("%s: no pole height is allowed: the string at %.2f mm less %s leaves at most %.2f mm, and %s is %.2f mm; "+
		"raise the string by %.2f mm, or allow lower poles or a smaller gap",
		nameOf(o.Strings, i), stringHeight, gapLimit(o), highest, lowerLimit(o), lowest, lowest-highest)
}

// gapLimit names the least gap at rest and what it is made of.
func gapLimit(o *profiles.Order) string {
	if o.StringSwing == 0 {
		return fmt.Sprintf("min_gap_mm %.2f", o.MinGap)
	}
	return fmt.Sprintf("min_gap_mm %.2f and string_swing_mm %.2f", o.MinGap, o.StringSwing)
}

// grid lists what the shop can set within the order's limits, in mm,
// ascending: the stock heights where there are any, else steps from the
// lowest height.
func grid(o *profiles.Order) []float64 {
	if o.PoleHeights != nil {
		stock := slices.Clone(o.PoleHeights)
		slices.Sort(stock)
		return slices.DeleteFunc(slices.Compact(stock), func(h float64) bool {
			return h < o.PoleHeightMin-hair || h > o.PoleHeightMax+hair
		})
	}
	var steps []float64
	for k := 0; ; k++ {
		h := o.PoleHeightMin + float64(k)*o.PoleHeightStep
		if h > o.PoleHeightMax+hair {
			return steps
		}
		steps = append(steps, math.Round(h*1e6)/1e6) // 0.15, not 0.15000000000000002
	}
}

// heights are the heights in mm that the grid indices stand for.
func (l limits) heights(index []int) []float64 {
	h := make([]float64, len(index))
	for i, k := range index {
		h[i] = l.grid[k]
	}
	return h
}

// common lists the heights that suit every string.
func (l limits) common() []float64 { return l.grid[:slices.Min(l.room)] }

// follow is the stagger on the strings' arc: the pole under the lowest string
// at the lowest height, each other pole higher by as much as its string is, so
// that all gaps are the same; then the nearest height that its limits allow.
func (l limits) follow(stringHeights []float64) []float64 {
	lowest := slices.Min(stringHeights)
	h := make([]float64, len(stringHeights))
	for i, s := range stringHeights {
		h[i] = nearest(l.grid[:l.room[i]], l.grid[0]+s-lowest)
	}
	return h
}

// nearest returns the value of the ascending list that is nearest to x, of
// two the lower.
func nearest(list []float64, x float64) float64 {
	best := list[0]
	for _, v := range list {
		if math.Abs(v-x) < math.Abs(best-x)-hair {
			best = v
		}
	}
	return best
}

// breach names the limit that a pole of height h under string i breaks; ""
// when it breaks none.
func (j *job) breach(i int, h float64) string {
	o, gap := j.order, j.stringHeights()[i]-h
	switch {
	case h < o.PoleHeightMin-hair:
		return fmt.Sprintf("%.2f mm is below pole_height_min_mm %.2f", h, o.PoleHeightMin)
	case h > o.PoleHeightMax+hair:
		return fmt.Sprintf("%.2f mm is above pole_height_max_mm %.2f", h, o.PoleHeightMax)
	case gap < o.RestGap()-hair:
		return fmt.Sprintf("a gap of %.2f mm is less than %s", gap, gapLimit(o))
	}
	return ""
}
