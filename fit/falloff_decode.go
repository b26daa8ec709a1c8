package fit

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"evenpole/fit/curve"
	"evenpole/profiles"
)

// decodeFalloff reads what encoding a Falloff as JSON wrote.
func decodeFalloff(state []byte) (*Falloff, error) {
	f := &Falloff{}
	if err := json.Unmarshal(state, f); err != nil {
		return nil, err
	}
	f.addEffects()
	return f, f.check()
}

// addEffects adds the effects that models of before there were recordings lack, or of
// before jigs had an effect: these have no level of them.
func (f *Falloff) addEffects() {
	for k := len(f.LevelCounts); k >= curve.RecorderEffect && k < len(curve.Effects) && len(f.SDs) == 1+k; k++ {
		f.SDs, f.LevelCounts = append(f.SDs, curve.Effects[k].Spread.SD), append(f.LevelCounts, 0)
	}
}

// check refuses a state that no fit can have left.
func (f *Falloff) check() error {
	n := f.Size()
	if len(f.Theta) != n || len(f.Cov) != n || len(f.SDs) != 1+len(curve.Effects) || len(f.LevelCounts) != len(curve.Effects) {
		return fmt.Errorf("expected %d parameters with their covariance and %d standard deviations, got %d, %d, %d: a version of evenpole whose falloff model has other parameters wrote this one; fit again",
			n, 1+len(curve.Effects), len(f.Theta), len(f.Cov), len(f.SDs))
	}
	if err := f.checkWords(); err != nil {
		return err
	}
	names, scales := f.Names(), make([]float64, n)
	for j, p := range f.Priors() {
		if !within(f.Theta[j], p.Mean, mostPriorSDs*p.SD) {
			return fmt.Errorf("theta: %s: expected %g within %g, got %g", names[j], p.Mean, mostPriorSDs*p.SD, f.Theta[j])
		}
		scales[j] = 2 * p.SD // what data and prior tell together is never less sure than the prior
	}
	if err := checkCovariance(f.Cov, scales); err != nil {
		return err
	}
	for k, sd := range f.SDs {
		if !within(sd, 0, mostScatter) {
			return fmt.Errorf("sd: value %d: expected at most %d, got %g", k+1, mostScatter, sd)
		}
	}
	for k, levels := range f.LevelCounts {
		if levels < 0 {
			return fmt.Errorf("levels: value %d: expected 0 or more, got %d", k+1, levels)
		}
	}
	if !(f.FieldSD >= 0 && f.FieldSD <= mostScatter) {
		return fmt.Errorf("field_sd: expected 0 to %d, got %g", mostScatter, f.FieldSD)
	}
	if err := errors.Join(checkOffsets("magnets", f.Magnets), checkOffsets("known", f.Offsets), f.Range.check()); err != nil {
		return err
	}
	return checkProbes(func(s *Setup, heights []float64) []float64 { return f.Level(nil, s, heights) }, f.Wraps...)
}

// checkWords refuses wraps that stand twice or are too many to predict with, and an
// excitation that is none.
func (f *Falloff) checkWords() error {
	if len(f.Wraps) > mostWraps {
		return fmt.Errorf("wraps: expected at most %d, got %d", mostWraps, len(f.Wraps))
	}
	for i, w := range f.Wraps {
		if w == profiles.Plain || slices.Contains(f.Wraps[:i], w) {
			return fmt.Errorf("wraps: expected each wrap once, and none of plain strings, got %q", w)
		}
	}
	return checkExcitation(f.Excite)
}
