package fit

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// What the state of a model may hold. A model that a fit would leave outside of these is
// not kept, and a file with one is refused, so that every model that is there predicts
// finite levels with finite uncertainties. All are our rules, far beyond any pickup.
const (
	mostPriorSDs = 20  // by which data move a parameter from its prior's mean
	mostScatter  = 10  // ln v, of setup mm: a standard deviation
	mostOffset   = 100 // ln v: an effect that is known
	mostLevel    = 300 // ln v: a level; e^300 squared is still a number
	mostSlopeSE  = 100 // ln v per mm or per ln mm: standard error of a log-linear estimate
	mostWraps    = 100 // kinds of wrap with a parameter of their own
)

// within reports whether a number is one, and no farther from another than given.
func within(x, from, by float64) bool { return math.Abs(x-from) <= by }

// checkCovariance refuses what is no covariance: rows of other lengths, not symmetric,
// not positive definite apart from rows of zeros (of estimates that hit every level), or
// with standard deviations above those given.
func checkCovariance(rows [][]float64, most []float64) error {
	n := len(rows)
	for i, row := range rows {
		if len(row) != n || !(row[i] >= 0) {
			return fmt.Errorf("covariance: row %d: expected %d values, none negative on the diagonal", i+1, n)
		}
		if !(math.Sqrt(row[i]) <= most[i]) {
			return fmt.Errorf("covariance: row %d: expected a standard deviation of at most %g, got %g", i+1, most[i], math.Sqrt(row[i]))
		}
	}
	unit := mat.NewSymDense(n, nil) // correlations
	for i, row := range rows {
		for j := i; j < n; j++ {
			scale := math.Sqrt(row[i]) * math.Sqrt(rows[j][j])
			if !within(row[j], rows[j][i], 1e-9*scale) {
				return fmt.Errorf("covariance: row %d, column %d: expected the same as row %d, column %d, got %g and %g", i+1, j+1, j+1, i+1, row[j], rows[j][i])
			}
			switch {
			case scale > 0:
				unit.SetSym(i, j, row[j]/scale)
			case row[j] != 0:
				return fmt.Errorf("covariance: row %d, column %d: expected 0 beside a variance of 0, got %g", i+1, j+1, row[j])
			}
		}
		if row[i] == 0 {
			unit.SetSym(i, i, 1)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(unit) || !solve.Finite(chol.LogDet()) {
		return errors.New("covariance: expected one that is positive definite")
	}
	return nil
}

// checkOffsets refuses effects beyond any that is.
func checkOffsets(key string, offsets map[string]float64) error {
	for name, v := range offsets {
		if !within(v, 0, mostOffset) {
			return fmt.Errorf("%s: %q: expected at most %d, got %g", key, name, mostOffset, v)
		}
	}
	return nil
}

func checkExcitation(e profiles.Excitation) error {
	if e != "" && !slices.Contains(profiles.Excitations(), e) {
		return fmt.Errorf("excite: expected one of %q, got %q", profiles.Excitations(), e)
	}
	return nil
}

// checkProbes asks for the levels of thin and thick strings, plain and of each wrap given,
// near and far.
func checkProbes(level func(s *Setup, heights []float64) []float64, wraps ...profiles.Wrap) error {
	s := &Setup{Excite: profiles.Drive}
	for _, d := range []float64{0.1, 0.3, 1} { // mm
		s.Strings = append(s.Strings, profiles.String{Core: d, Gauge: d, Wrap: profiles.Plain})
	}
	for _, w := range wraps {
		s.Strings = append(s.Strings, profiles.String{Core: 0.3, Gauge: 0.5, Wrap: w}, profiles.String{Core: 1, Gauge: 4, Wrap: w})
	}
	s.StringHeights = make([]float64, len(s.Strings))
	heights := make([]float64, len(s.Strings))
	for _, gap := range []float64{0, 1, 3, 10, 30} { // mm
		for _, height := range []float64{-20, 0, 20} { // mm
			for i := range heights {
				heights[i], s.StringHeights[i] = height, height+gap
			}
			for i, y := range level(s, heights) {
				if !within(y, 0, mostLevel) {
					str := s.Strings[i]
					return fmt.Errorf("no level follows for a string of %g mm (core %g mm, %s) %g mm over a pole of %g mm", str.Gauge, str.Core, str.Wrap, gap, height)
				}
			}
		}
	}
	return nil
}
