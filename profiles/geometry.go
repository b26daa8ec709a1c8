package profiles

import "math"

// ArcHeights returns the heights in mm of n strings, evenly spaced across
// spread (mm, first to last, centre to centre), when their undersides lie on
// the arc of a fretboard: the circle of the given radius (mm) through the outer
// two, which are at heights first and last (mm), bulging away from the
// pickup's bobbin. Radius 0 means a flat fretboard: a straight line. One string
// has height first.
//
// A radius smaller than half the distance between the outer points spans no
// circle: then the inner heights are NaN.
func ArcHeights(radius, spread float64, n int, first, last float64) []float64 {
	heights := make([]float64, n)
	if n == 0 {
		return heights
	}
	for i := range n {
		along := float64(i) / float64(max(n-1, 1))
		heights[i] = first + along*(last-first)
		if radius > 0 && i > 0 && i < n-1 {
			heights[i] = arc(radius, spread, last-first, along*spread) + first
		}
	}
	return heights
}

// arcAt is ArcHeights for strings that lie at these places across the pickup, mm.
func arcAt(radius float64, at []float64, first, last float64) []float64 {
	n := len(at)
	heights := make([]float64, n)
	for i := range n {
		spread, x := at[n-1]-at[0], at[i]-at[0]
		heights[i] = first
		if spread > 0 {
			heights[i] += x / spread * (last - first)
		}
		if radius > 0 && i > 0 && i < n-1 {
			heights[i] = arc(radius, spread, last-first, x) + first
		}
	}
	return heights
}

// arc returns the height at x of the circle through (0, 0) and (spread, rise)
// whose centre lies below that chord, both measured from the first point.
func arc(radius, spread, rise, x float64) float64 {
	half := halfChord(spread, rise)
	below := math.Sqrt(radius*radius - half*half) // from the chord's middle to the centre
	centreX := spread/2 + below*rise/(2*half)
	centreY := rise/2 - below*spread/(2*half)
	return centreY + math.Sqrt(radius*radius-(x-centreX)*(x-centreX))
}

// halfChord is half the distance between the outer two strings: the smallest
// radius that their arc can have.
func halfChord(spread, rise float64) float64 { return math.Hypot(spread, rise) / 2 }
