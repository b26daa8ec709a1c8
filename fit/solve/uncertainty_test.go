package solve

import (
	"math"
	"strconv"
	"testing"
)

// The budget of a gauge study: NIST/SEMATECH e-Handbook, section 2.6.3. Its
// expanded uncertainty is given for unrounded degrees of freedom too.
func TestCombineHandbook(t *testing.T) {
	budget := readTable(t, "testdata", "gauge_uncertainty_budget.csv")
	sds, shares, dofs := budget.floats(t, "sd"), budget.floats(t, "squared_sensitivity"), budget.floats(t, "df")
	var parts []Part
	for i, sd := range sds {
		parts = append(parts, Part{shares[i] * sd * sd, dofs[i]})
	}
	expected := readTable(t, "testdata", "gauge_uncertainty_expected.csv")
	p := Combine(parts...)
	u, k, expanded := p.Expand(0.95)
	got := map[string]float64{
		"combined_standard_uncertainty": u, "effective_df_welch_satterthwaite": p.DOF, "t_0.975_at_unrounded_df": k,
		"t_0.975_at_42_df": CoverageFactor(42, 0.95), "expanded_uncertainty_95_at_unrounded_df": expanded,
		"expanded_uncertainty_95_at_42_df": CoverageFactor(42, 0.95) * u,
	}
	for i, name := range expected["quantity"] {
		want := expected.floats(t, "recomputed")[i]
		if math.Abs(got[name]-want) > 1e-8*want {
			t.Errorf("%s: got %.10g, want %.10g", name, got[name], want)
		}
	}
}

// Coverage factors of JCGM 100:2008, table G.2, 95 % column, as printed there
// (recalled; the usual table of Student's t).
func TestCoverageFactors(t *testing.T) {
	near := func(what string, got, want, tolerance float64) {
		if !(math.Abs(got-want) <= tolerance) {
			t.Errorf("%s: got %.12g, want %.12g", what, got, want)
		}
	}
	for dof, want := range map[float64]float64{1: 12.71, 2: 4.30, 3: 3.18, 4: 2.78, 5: 2.57, 10: 2.23, 20: 2.09, 50: 2.01, 100: 1.984} {
		near(strconv.Itoa(int(dof)), CoverageFactor(dof, 0.95), want, 0.0051)
	}
	near("infinite", CoverageFactor(math.Inf(1), 0.95), 1.95996398454, 1e-10)
	near("one million, by t", CoverageFactor(1e6, 0.95), CoverageFactor(1.1e6, 0.95), 1e-5)
}

// What is not known, or known for certain, is not lost on the way.
func TestCombineLimits(t *testing.T) {
	if p := Combine(Part{2, math.Inf(1)}, Part{0, 3}); p.Variance != 2 || !math.IsInf(p.DOF, 1) {
		t.Errorf("%+v", p)
	}
	if u, k, expanded := (Part{math.NaN(), 3}).Expand(0.95); !math.IsNaN(u + k + expanded) {
		t.Errorf("%g, %g, %g", u, k, expanded)
	}
}
