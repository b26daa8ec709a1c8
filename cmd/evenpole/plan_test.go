package main

import (
	"bytes"
	"strings"
	"testing"

	"evenpole/fit/plan"
	"evenpole/profiles"
)

// A cost that nobody can set or hear is none.
func TestCostOfASimplerPlan(t *testing.T) {
	for _, c := range []struct {
		cost float64
		move *plan.Move
		want string
	}{
		{0, nil, ""},
		{0.0004, nil, "the best heights are [1.00 1.20] mm; the plan is simpler, and no farther off at the worst string\n"},
		{0.0049, nil, "the best heights are [1.00 1.20] mm; the plan is simpler, and no farther off at the worst string\n"},
		{0.0151, nil, "the best heights are [1.00 1.20] mm; the plan is simpler, and 0.02 dB farther off at the worst string\n"},
		{0.001, &plan.Move{}, "of what serves as well the pickup is moved least: no farther off at the worst string than the best\n"},
		{0.012, &plan.Move{}, "of what serves as well the pickup is moved least: 0.01 dB farther off at the worst string than the best\n"},
	} {
		var out bytes.Buffer
		printCost(&env{stdout: &out}, &profiles.Order{}, &plan.Plan{Cost: c.cost, Best: []float64{1, 1.2}, Move: c.move})
		if got := out.String(); got != c.want {
			t.Errorf("%g dB: %q, want %q", c.cost, got, c.want)
		}
	}
	var out bytes.Buffer
	printCost(&env{stdout: &out}, &profiles.Order{Poles: profiles.Blade}, &plan.Plan{Cost: 0.056, Move: &plan.Move{}})
	if got := out.String(); !strings.HasSuffix(got, "closest together: 0.06 dB farther off at the worst string than the best\n") {
		t.Errorf("a blade: %q", got)
	}
}
