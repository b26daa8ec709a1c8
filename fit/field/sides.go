package field

import (
	"math"
	"slices"
)

// ClearShare is the share of the usual field of its like below which a magnet's field is
// faint: the magnet is demagnetised, or there is none, and the sign of so little does not
// tell which of its poles is up. Our choice: a magnet put in the wrong way round reads
// what its like do with the other sign, and a weak one rarely less than half of it.
const ClearShare = 0.2

// Sides tells, of magnets of one kind, by their fields with their signs: which have the
// other side up than most (turned), and which are faint, below ClearShare of the median
// size. Both are indices. A field that is NaN was not measured. When as many have one
// side up as the other, none is turned and even is true. The unit does not matter.
func Sides(fields []float64) (turned, faint []int, even bool) {
	var sizes []float64
	for _, f := range fields {
		if !math.IsNaN(f) {
			sizes = append(sizes, math.Abs(f))
		}
	}
	if sizes == nil {
		return nil, nil, true
	}
	slices.Sort(sizes)
	clear := ClearShare * sizes[len(sizes)/2]
	var up, down []int
	for i, f := range fields {
		switch {
		case math.IsNaN(f):
		case math.Abs(f) < clear || f == 0:
			faint = append(faint, i)
		case f > 0:
			up = append(up, i)
		default:
			down = append(down, i)
		}
	}
	switch {
	case len(up) > len(down):
		return down, faint, false
	case len(down) > len(up):
		return up, faint, false
	}
	return nil, faint, true
}
