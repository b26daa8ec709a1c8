package fit

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/curve"
	"evenpole/profiles"
)

// What a fit cannot have left is refused, by the name of what is wrong.
func TestFalloffStateIsChecked(t *testing.T) {
	for want, change := range map[string]func(f *Falloff){
		"has other parameters wrote this one; fit again":         func(f *Falloff) { f.Theta = f.Theta[1:] },
		"theta: level: expected 3 within 60, got -100":           func(f *Falloff) { f.Theta[curve.Level] = -100 },
		"theta: wrap_nickel":                                     func(f *Falloff) { f.Theta[curve.FixedParameters] = 1e300 },
		"covariance: row 2: expected":                            func(f *Falloff) { f.Cov[1] = f.Cov[1][1:] },
		"covariance: row 1: expected a standard deviation":       func(f *Falloff) { f.Cov[0][0] = 1e18 },
		"covariance: row 1, column 2: expected the same as":      func(f *Falloff) { f.Cov[1][0] += 1e-4 },
		"covariance: expected one that is positive definite":     func(f *Falloff) { f.Cov[0][0] *= 1e-6 },
		"sd: value 1: expected at most 10, got 1e+30":            func(f *Falloff) { f.SDs[0] = 1e30 },
		"levels: value 2: expected 0 or more, got -3":            func(f *Falloff) { f.LevelCounts[1] = -3 },
		"field_sd: expected 0 to 10, got -1":                     func(f *Falloff) { f.FieldSD = -1 },
		`magnets: "M-1": expected at most 100, got 1000`:         func(f *Falloff) { f.Magnets = map[string]float64{"M-1": 1000} },
		`known: "x": expected at most 100`:                       func(f *Falloff) { f.Offsets["x"] = -101 },
		"range: gap_mm: expected two lengths":                    func(f *Falloff) { f.Range.Gap[0] = 50 },
		"range: core_mm: expected two lengths":                   func(f *Falloff) { f.Range.Core[1] = 1e10 },
		`wraps: expected each wrap once`:                         func(f *Falloff) { f.Wraps[1] = f.Wraps[0] },
		`excite: expected one of ["travel" "force" "drive"], go`: func(f *Falloff) { f.Excite = "hope" },
		"no level follows for a string of":                       func(f *Falloff) { f.Theta[curve.Slope], f.Theta[curve.WoundSlope] = 3.3, -5 },
	} {
		m, err := fitFalloff(context.Background(), celltest.Sample(t), nil)
		if err != nil {
			t.Fatal(err)
		}
		change(m)
		refusedState(t, falloffKind, m, want)
	}
}

func TestLogLinearStateIsChecked(t *testing.T) {
	for want, change := range map[string]func(m *logLinear){
		`terms: "gap" stands twice`:              func(m *logLinear) { m.Terms[1] = m.Terms[0] },
		"expected deviations that are not":       func(m *logLinear) { m.SD = 1e9 },
		"covariance: row 2: expected a stand":    func(m *logLinear) { m.Cov[1][1] = 1e18 },
		"covariance: expected one that is pos":   func(m *logLinear) { m.Cov[0][1], m.Cov[1][0] = 10, 10 },
		"column 2: expected 0 beside a variance": func(m *logLinear) { m.Cov[0][0] = 0 },
		`excite: expected one of`:                func(m *logLinear) { m.Excite = "x" },
		"range: pole_height_mm":                  func(m *logLinear) { m.Range.PoleHeight[1] = -1e9 },
		"no level follows for a string of 0.1 ":  func(m *logLinear) { m.B[0] = 1e6 },
	} {
		m, err := logGap.fit(celltest.Sample(t))
		if err != nil {
			t.Fatal(err)
		}
		change(m)
		refusedState(t, logLinearKind(logGap), m, want)
	}
}

func refusedState(t *testing.T, k modelKind, m Model, want string) {
	t.Helper()
	state, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := k.decode(state); err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("got %v, want %q", err, want)
	}
}

// Data that lead to a model which would be refused from its file are no data to fit.
func TestFitKeepsNoModelThatCannotBeRead(t *testing.T) {
	d := celltest.Sample(t)
	for i := range d.Cells {
		d.Cells[i].Mean *= 1e3
	}
	for _, k := range kinds {
		var cannot *CannotFitError
		if _, err := k.measured(context.Background(), d, partsOf(d), nil); !errors.As(err, &cannot) {
			t.Errorf("%s: got %v", k.name, err)
		}
	}
}

// The handbook's model and one of every wrap that the handbook knows are models like others.
func TestUsualModelsPass(t *testing.T) {
	for _, e := range append(profiles.Excitations(), "") {
		if err := checkModel(Handbook(e)); err != nil {
			t.Error(err)
		}
	}
	_, own := celltest.Sample(t).Split("P1")
	for _, k := range kinds {
		m, err := k.fit(context.Background(), &cell.Data{Cells: own})
		if err != nil {
			t.Fatal(err)
		}
		if err := checkModel(m); err != nil {
			t.Errorf("%s: %v", k.name, err)
		}
	}
}
