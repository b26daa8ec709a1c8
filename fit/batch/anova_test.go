package batch

import (
	"math"
	"math/rand/v2"
	"testing"
)

// columns reads a file of one group a column.
func columns(t *testing.T, name string) [][]float64 {
	t.Helper()
	var groups [][]float64
	for _, row := range records(t, name) {
		for j, text := range row {
			if j == len(groups) {
				groups = append(groups, nil)
			}
			groups[j] = append(groups[j], number(t, text))
		}
	}
	return groups
}

// Certified values of the NIST Statistical Reference Datasets. SmLs04 has values
// that agree in 7 leading digits, SmLs07 and SmLs08 in 13: reading them leaves
// some 3 digits of what differs.
func TestCertifiedVariance(t *testing.T) {
	tolerance := map[string]float64{"SiRstv": 1e-11, "SmLs01": 1e-12, "SmLs04": 1e-8, "SmLs07": 1e-2, "SmLs08": 1e-2}
	for _, row := range records(t, "testdata/aov_certified.csv") {
		a := oneWay(columns(t, "testdata/aov_"+row[0]+".csv"))
		for i, got := range []float64{a.between, a.msBetween, a.within, a.msWithin, a.msBetween / a.msWithin} {
			near(t, row[0], got, number(t, row[i+1]), tolerance[row[0]])
		}
	}
}

// NIST's SmLs09: nine groups of 2001 values that agree in 13 leading digits, by the pattern
// of SmLs07 and SmLs08 (NIST/ITL, Statistical Reference Datasets); certified between
// 160.08, within 180. Values near 1e12 stand to 1.2e-4, which leaves four digits.
func TestCertifiedVarianceOfManyCloseValues(t *testing.T) {
	short := columns(t, "testdata/aov_SmLs08.csv")
	for i, g := range short {
		for len(short[i]) < 2001 {
			short[i] = append(short[i], g[1:3]...)
		}
	}
	a := oneWay(short)
	near(t, "between", a.between, 160.08, 2e-4)
	near(t, "within", a.within, 180, 2e-4)
}

// long reads a file of lines with a group's name and a value.
func long(t *testing.T, name string, group, value int) [][]float64 {
	t.Helper()
	at := map[string]int{}
	var groups [][]float64
	for _, row := range records(t, name) {
		i, ok := at[row[group]]
		if !ok {
			i = len(groups)
			at[row[group]] = i
			groups = append(groups, nil)
		}
		groups[i] = append(groups[i], number(t, row[value]))
	}
	return groups
}

// Restricted maximum likelihood by lme4 in R, which is what the method of moments
// gives for groups of one size: see ../../testdata/published/mixed. Dyestuff2 is the case with
// less scatter between groups than within would make.
func TestComponentsAgainstREML(t *testing.T) {
	dyestuff := oneWay(long(t, "../../testdata/published/mixed/Dyestuff.csv", 0, 1))
	near(t, "Dyestuff between", math.Sqrt(dyestuff.varBetween), 42.000595, 1e-6)
	near(t, "Dyestuff within", math.Sqrt(dyestuff.varWithin), 49.5101, 1e-6)
	rail := oneWay(long(t, "../../testdata/published/mixed/Rail.csv", 0, 1))
	near(t, "Rail between", math.Sqrt(rail.varBetween), 24.805465, 1e-6)
	near(t, "Rail within", math.Sqrt(rail.varWithin), 4.0207794, 1e-6)
	if a := oneWay(long(t, "../../testdata/published/mixed/Dyestuff2.csv", 0, 1)); a.varBetween != 0 {
		t.Errorf("Dyestuff2 between: got %g, want 0", a.varBetween)
	}
}

// scattered are seeded groups of given sizes.
func scattered(r *rand.Rand, sizes []int, between, within float64) [][]float64 {
	var groups [][]float64
	for _, n := range sizes {
		groups = append(groups, normals(r, n, 240+between*r.NormFloat64(), within))
	}
	return groups
}

// Without bias for groups of any sizes, and with the coverage that is claimed.
func TestComponentsRecoverTruth(t *testing.T) {
	const trials = 3000
	r := rand.New(rand.NewPCG(5, 6))
	sizes := []int{2, 2, 2, 3, 2, 5, 2, 2, 4, 2, 2, 2}
	equal := []int{2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2}
	var between, within float64
	hits := 0
	for range trials {
		a := oneWay(scattered(r, sizes, 6, 3))
		between += a.varBetween / trials
		within += a.varWithin / trials
		b := oneWay(scattered(r, equal, 6, 3))
		if i := b.interval(0.9); i.Low <= 6 && 6 <= i.High {
			hits++
		}
	}
	near(t, "between", between, 36, 0.04)
	near(t, "within", within, 9, 0.03)
	covers(t, "interval", hits, trials, 0.9)
}

func TestOneWayWithoutRepeats(t *testing.T) {
	a := oneWay([][]float64{{1}, {2}, {4}})
	near(t, "between", a.varBetween, 7.0/3, 1e-12)
	if !math.IsNaN(a.varWithin) || !math.IsNaN(a.p()) {
		t.Errorf("within: got %g, p %g, want NaN", a.varWithin, a.p())
	}
	i := a.interval(0.95) // chi-squared of 2 degrees of freedom is exponential: quantile -2 ln(1-p)
	near(t, "low", i.Low, math.Sqrt(14.0/3/(-2*math.Log(0.025))), 1e-9)
	near(t, "high", i.High, math.Sqrt(14.0/3/(-2*math.Log(0.975))), 1e-9)
}

// Groups of 1, 2 and 5 stand for (8 - 30/8)/2 = 2.125 values each, by hand.
func TestOneWayOfUnequalGroups(t *testing.T) {
	a := oneWay([][]float64{{1}, {4, 6}, {8, 9, 10, 11, 12}})
	if a.effective != 2.125 || math.Abs(a.varBetween-(a.msBetween-a.msWithin)/2.125) > 1e-12 || !(a.varBetween > 0) {
		t.Errorf("got %+v", a)
	}
}
