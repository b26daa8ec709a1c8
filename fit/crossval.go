package fit

import (
	"fmt"
	"math"
)

// CV is how far predictions of whole pickups are off, root mean square over
// cells, in dB. A figure is nil when no pickup could be predicted from others.
type CV struct {
	Balance *float64 // each pickup's own mean error taken off
	Level   *float64 // with the level
	Notes   []string // which pickups could not be predicted, and why
}

// CrossValidate leaves each pickup out in turn, fits to the others and
// predicts all of its cells. A pickup with a single cell has no balance.
func CrossValidate(d *Data, fit func(*Data) (Model, error)) CV {
	var cv CV
	var balance, level sum
	pickups := d.Pickups()
	if len(pickups) < 2 {
		cv.Notes = append(cv.Notes, "one pickup alone: how well others are predicted cannot be told; capture a second one")
		return cv
	}
	for _, p := range pickups {
		others, own := d.Split(p)
		m, err := fit(others)
		if err != nil {
			cv.Notes = append(cv.Notes, fmt.Sprintf("pickup %q cannot be predicted from the others: %v", p, err))
			continue
		}
		errs := errorsOf(own, m.Expect(own))
		mean := meanOf(errs)
		for _, e := range errs {
			level.add(e)
			if len(errs) > 1 {
				balance.add(e - mean)
			}
		}
	}
	cv.Balance, cv.Level = balance.rms(), level.rms()
	return cv
}

// errorsOf returns what predictions missed, ln v, where there are predictions.
func errorsOf(cells []Cell, predicted []float64) []float64 {
	var errs []float64
	for i, p := range predicted {
		if !math.IsNaN(p) {
			errs = append(errs, cells[i].Mean-p)
		}
	}
	return errs
}

func meanOf(v []float64) float64 {
	var s float64
	for _, x := range v {
		s += x / float64(len(v))
	}
	return s
}

// sum adds up squares.
type sum struct {
	squares float64
	n       int
}

func (s *sum) add(v float64) { s.squares += v * v; s.n++ }

// rms is the root mean square in dB; nil of nothing.
func (s *sum) rms() *float64 {
	if s.n == 0 {
		return nil
	}
	v := dB * math.Sqrt(s.squares/float64(s.n))
	return &v
}
