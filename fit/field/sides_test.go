package field

import (
	"math"
	"slices"
	"testing"
)

func TestSides(t *testing.T) {
	no := math.NaN()
	for name, c := range map[string]struct {
		fields        []float64
		turned, faint []int
		even          bool
	}{
		"all alike":        {[]float64{120, 121, 119}, nil, nil, false},
		"one turned":       {[]float64{120, -121, 119}, []int{1}, nil, false},
		"one demagnetised": {[]float64{120, -1, 119, 122}, nil, []int{1}, false},
		"just below":       {[]float64{100, -19.9, 100, 100}, nil, []int{1}, false},
		"just above":       {[]float64{100, -20.1, 100, 100}, []int{1}, nil, false},
		"each way":         {[]float64{-120, 121, 119, -122}, nil, nil, true},
		"each way and one": {[]float64{-120, 121, 0.5, 119, -122}, nil, []int{2}, true},
		"most down":        {[]float64{-120, -121, 119, no}, []int{2}, nil, false},
		"none":             {[]float64{no, no}, nil, nil, true},
		"nothing there":    {[]float64{0, 0}, nil, []int{0, 1}, true},
	} {
		turned, faint, even := Sides(c.fields)
		if !slices.Equal(turned, c.turned) || !slices.Equal(faint, c.faint) || even != c.even {
			t.Errorf("%s: got %v, %v, %v", name, turned, faint, even)
		}
	}
}
