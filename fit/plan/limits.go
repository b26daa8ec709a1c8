package plan

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"evenpole/profiles"
)

// lengthTolerance, in mm, is how far a height may exceed a limit and still count as
// within it: the rounding error of inches converted to millimetres.
const lengthTolerance = 1e-6

// limits are the pole heights that an order allows. The grid is the same for all
// strings. A low string allows fewer of its heights, counted from the lowest, so
// that a height that the lowest string allows suits every string.
type limits struct {
	grid []float64 // mm, ascending: what the shop can set
	room []int     // by string: how many heights of the grid, from the lowest, keep the gap

	shared [][]int // by string, the strings over its pole, itself among them; nil where each has its own
}

func newLimits(o *profiles.Order, stringHeights []float64) (limits, error) {
	l := limits{grid: grid(o), room: make([]int, len(stringHeights))}
	if len(l.grid) == 0 {
		return l, refused(o, "no pole height is allowed: none of pole_heights_mm, %v mm, lies from %.2f to %.2f mm",
			o.PoleHeights, o.PoleHeightMin, o.PoleHeightMax)
	}
	for i, s := range stringHeights {
		highest := s - o.RestGap()
		for _, h := range l.grid {
			if h <= highest+lengthTolerance {
				l.room[i]++
			}
		}
		if l.room[i] == 0 {
			return l, noRoom(o, i, s, l.grid[0])
		}
	}
	l.share(&o.Layout)
	return l, nil
}

// share leaves strings over one pole the heights that all of them allow.
func (l *limits) share(of *profiles.Layout) {
	if of.StringsPerPole < 2 {
		return
	}
	l.shared = make([][]int, len(l.room))
	for i := range l.room {
		for k := range l.room {
			if of.Leader(i) == of.Leader(k) {
				l.shared[i] = append(l.shared[i], k)
				l.room[i] = min(l.room[i], l.room[k])
			}
		}
	}
}

// set moves the pole under string i to height k, and with it that of all who share it.
func (l *limits) set(index []int, i, k int) {
	index[i] = k
	if l.shared != nil {
		for _, other := range l.shared[i] {
			index[other] = k
		}
	}
}

// noRoom is the error for a string under which no pole fits, with what to change.
func noRoom(o *profiles.Order, i int, stringHeight, lowest float64) error {
	highest := stringHeight - o.RestGap()
	return refused(o, "%s: no pole height is allowed: the string at %.2f mm less %s leaves at most %.2f mm, and %s is %.2f mm; "+
		"raise the string by %.2f mm, or allow lower poles or a smaller gap",
		nameOf(o.Strings, i), stringHeight, gapLimit(o), highest, lowerLimit(o), lowest, lowest-highest)
}

// gapLimit names the least gap at rest and what it is made of.
func gapLimit(o *profiles.Order) string {
	if o.StringSwing == 0 {
		return fmt.Sprintf("min_gap_mm of %.2f mm", o.MinGap)
	}
	return fmt.Sprintf("min_gap_mm of %.2f mm and string_swing_mm of %.2f mm", o.MinGap, o.StringSwing)
}

// refused is an error that names the order's keys as the order has them.
func refused(o *profiles.Order, format string, args ...any) error {
	return errors.New(o.Units.Keys(fmt.Sprintf(format, args...)))
}

// grid lists what the shop can set within the order's limits, in mm,
// ascending: the stock heights where there are any, else steps from the
// lowest height.
func grid(o *profiles.Order) []float64 {
	if o.PoleHeights != nil {
		stock := slices.Clone(o.PoleHeights)
		slices.Sort(stock)
		return slices.DeleteFunc(slices.Compact(stock), func(h float64) bool {
			return h < o.PoleHeightMin-lengthTolerance || h > o.PoleHeightMax+lengthTolerance
		})
	}
	var steps []float64
	for k := 0; ; k++ {
		h := o.PoleHeightMin + float64(k)*o.PoleHeightStep
		if h > o.PoleHeightMax+lengthTolerance {
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

// common lists the heights that every string allows.
func (l limits) common() []float64 { return l.grid[:slices.Min(l.room)] }

// follow is the stagger on the strings' arc: the pole under the lowest string has
// the lowest height, and each other pole is higher by as much as its string is, so
// that all gaps are equal. Each height is then rounded to the nearest that its
// string allows.
func (l limits) follow(stringHeights []float64) []float64 {
	lowest := slices.Min(stringHeights)
	h := make([]float64, len(stringHeights))
	for i, s := range stringHeights {
		h[i] = nearest(l.grid[:l.room[i]], l.grid[0]+s-lowest)
	}
	for i, over := range l.shared {
		for _, k := range over {
			h[i] = min(h[i], h[k])
		}
	}
	return h
}

// nearest returns the value of the ascending list that is nearest to x; the lower
// of two that are as near.
func nearest(list []float64, x float64) float64 {
	best := list[0]
	for _, v := range list {
		if math.Abs(v-x) < math.Abs(best-x)-lengthTolerance {
			best = v
		}
	}
	return best
}

// The limits that can keep a pole from its best height, as messages name them.
const (
	limitGap     = "min_gap_mm"
	limitMax     = "pole_height_max_mm"
	limitMin     = "pole_height_min_mm"
	limitTallest = "the highest of pole_heights_mm"
	limitLowest  = "the lowest of pole_heights_mm"
)

// lowestAllowed names what says where the poles' lowest height is.
func lowestAllowed(o *profiles.Order) string {
	if o.PoleHeights != nil && slices.Min(o.PoleHeights) <= o.PoleHeightMin {
		return limitLowest
	}
	return limitMin
}

// highestAllowed names what says where their highest is.
func highestAllowed(o *profiles.Order) string {
	if o.PoleHeights != nil && slices.Max(o.PoleHeights) >= o.PoleHeightMax {
		return limitTallest
	}
	return limitMax
}

// lowerLimit names the limit that keeps poles from being lower.
func lowerLimit(o *profiles.Order) string {
	if o.PoleHeights != nil {
		return limitLowest
	}
	return limitMin
}
