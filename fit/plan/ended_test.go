package plan

import (
	"context"
	"errors"
	"testing"

	"evenpole/fit"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// ending is a model that ends a context at one of its calls, and counts them.
type ending struct {
	fit.Predictor
	at, calls int
	end       func()
}

func (m *ending) call() {
	if m.calls++; m.calls == m.at {
		m.end()
	}
}

func (m *ending) Level(dst []float64, s *fit.Setup, heights []float64) []float64 {
	m.call()
	return m.Predictor.Level(dst, s, heights)
}

func (m *ending) Uncertainty(s *fit.Setup, heights []float64) *mat.SymDense {
	m.call()
	return m.Predictor.Uncertainty(s, heights)
}

// Wherever a plan is, it ends soon after its context, with the context's error.
func TestPlansEndWithTheirContext(t *testing.T) {
	const soon = 60 // calls of the model
	simple, m := usual()
	limited, matched, fixed, several := *simple, *simple, *simple, *simple
	limited.PoleHeightMax = 1
	fixed.FixedHeights, fixed.PickupRaise, fixed.PickupLower = []float64{0.4, 0.8, 1.9, 1.4, 0.9, 0.5}, 1.5, 1.5
	several.Alternatives = []profiles.StringSet{{Name: "other", Strings: simple.Strings}}
	depends := falloff([]float64{0, 0.3, 2.6, -0.4, 0.2, 0.8}).independent(0.1, 0.1, 0.1, 0.1, 0.1, 0.1)
	for name, c := range map[string]struct {
		order *profiles.Order
		model bench
		opt   Options
	}{
		"simple":  {simple, m, Options{}},
		"limited": {&limited, m, Options{}},
		"fixed":   {&fixed, depends, Options{}},
		"several": {&several, m, Options{}},
		"matched": {&matched, m, Options{Stock: []string{"a", "b", "c", "d", "e", "f", "g", "h"}}},
	} {
		whole := &ending{Predictor: c.model}
		if _, err := Make(t.Context(), c.order, whole, c.opt); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for k := range 20 {
			ctx, cancel := context.WithCancel(t.Context())
			part := &ending{Predictor: c.model, at: 1 + k*(whole.calls-1)/20, end: cancel}
			if _, err := Make(ctx, c.order, part, c.opt); !errors.Is(err, context.Canceled) {
				t.Errorf("%s, ended at call %d of %d: got %v", name, part.at, whole.calls, err)
			}
			if part.calls > part.at+soon {
				t.Errorf("%s, ended at call %d: %d calls more", name, part.at, part.calls-part.at)
			}
		}
	}
}

// What if ends likewise; every step is told of.
func TestWhatIfEndsWithItsContext(t *testing.T) {
	o, m := usual()
	var steps []string
	opt := Options{Progress: func(step string) { steps = append(steps, step) }}
	p, err := Make(t.Context(), o, m, opt)
	if err != nil || len(steps) == 0 || steps[0] != "the best heights" {
		t.Fatalf("told of %q, %v", steps, err)
	}
	steps = nil
	changes, err := WhatIf(t.Context(), o, m, opt, p, nil)
	if err != nil || len(steps) != len(changes) {
		t.Errorf("%d changes, told of %q, %v", len(changes), steps, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if changes, err := WhatIf(ctx, o, m, Options{}, p, nil); !errors.Is(err, context.Canceled) || changes != nil {
		t.Errorf("got %v, %v", changes, err)
	}
}
