package layout

import (
	"evenpole/fit"
	"evenpole/fit/curve"
	"evenpole/profiles"
)

// By what strings over steel that stands on a bar magnet (screws, slugs, blades) differ from
// strings over rod magnets, which the handbook is about, ln v per mm: their field is
// weaker, so that strings saturate less and fall faster with the gap, plain ones most; and
// raising such a pole out of its coil costs less. From rods of plain steel in the field
// of a bar, in worlds drawn at random (the test TestSteelOverABar of
// [evenpole/bench/magnetics]). sd is from world to world.
const (
	steelFallPlain, steelFallPlainSD = 0.14, 0.06
	steelFallWound, steelFallWoundSD = 0.05, 0.05
	steelRaise, steelRaiseSD         = 0.06, 0.02
)

// overBar reports whether poles of a kind are steel over a bar magnet.
func overBar(of profiles.PoleKind) bool { return of != profiles.Rod && of != "" }

// bar is, of strings over such poles, by what their levels differ from those over rods,
// ln v, and its derivatives by the three differences, times the standard deviation of each.
func bar(s *fit.Setup, i int, height float64) (shift float64, by [3]float64) {
	str := &s.Strings[i]
	far := s.StringHeights[i] + str.Gauge/2 - height - curve.RefGap
	shift = steelRaise * height
	by[2] = steelRaiseSD * height
	if str.Plain() {
		by[0] = -steelFallPlainSD * far
		return shift - steelFallPlain*far, by
	}
	by[1] = -steelFallWoundSD * far
	return shift - steelFallWound*far, by
}
