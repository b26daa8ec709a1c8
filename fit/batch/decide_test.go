package batch

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// D. C. Montgomery, Introduction to Statistical Quality Control, variables
// sampling: 1 % and 6 % at risks of 5 % and 10 % want n = 40, k = 1.9 by the
// nomograph, standard deviation unknown (from memory).
func TestPlanAgainstNomograph(t *testing.T) {
	n, k, err := sampling{Risks{0.01, 0.06, 0.05, 0.10}}.plan()
	if err != nil || n < 38 || n > 43 || math.Abs(k-1.9) > 0.05 {
		t.Errorf("got n %d, k %.3f, %v, want about 40 and 1.9", n, k, err)
	}
}

// W. A. Wallis' approximation (Use of variables in acceptance inspection for
// percent defective, in Techniques of Statistical Analysis, 1947, from memory):
// k = (za z2 + zb z1)/(za + zb), n = (1 + k²/2) ((za + zb)/(z1 - z2))².
func TestPlanAgainstWallis(t *testing.T) {
	z := func(p float64) float64 { return distuv.UnitNormal.Quantile(1 - p) }
	for _, r := range []Risks{{0.01, 0.10, 0.05, 0.10}, {0.01, 0.05, 0.05, 0.10}, {0.005, 0.02, 0.05, 0.05}, {0.04, 0.12, 0.10, 0.10}} {
		n, k, err := sampling{r}.plan()
		if err != nil {
			t.Fatal(err)
		}
		za, zb, z1, z2 := z(r.Producer), z(r.Consumer), z(r.Acceptable), z(r.Limiting)
		wantK := (za*z2 + zb*z1) / (za + zb)
		wantN := (1 + wantK*wantK/2) * math.Pow((za+zb)/(z1-z2), 2)
		near(t, "k", k, wantK, 0.02)
		near(t, "n", float64(n), wantN, 0.08)
	}
}

// Without bias, for one limit and for both.
func TestOutsideHasNoBias(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	low, high := -1.5, 1.1
	both := Limits{Min: &low, Max: &high}
	want := distuv.UnitNormal.CDF(low) + distuv.UnitNormal.Survival(high)
	for _, n := range []int{3, 4, 10} {
		const trials = 20000
		estimates := make([]float64, trials)
		for i := range estimates {
			mean, sd := stat.MeanStdDev(normals(r, n, 0, 1), nil)
			estimates[i] = both.share(n, mean, sd)
		}
		mean, sd := stat.MeanStdDev(estimates, nil)
		if math.Abs(mean-want) > 4*sd/math.Sqrt(trials) {
			t.Errorf("n %d: mean estimate %.4f, want %.4f", n, mean, want)
		}
	}
}

// The risks at the plan's number of magnets and before: as agreed for one limit,
// and as good where what is beyond lies on both sides.
func TestRisks(t *testing.T) {
	const trials = 4000
	r := rand.New(rand.NewPCG(13, 14))
	risks := Risks{0.01, 0.10, 0.05, 0.10}
	s := sampling{risks}
	plan, _, err := s.plan()
	if err != nil {
		t.Fatal(err)
	}
	chance := func(of Answer, n int, below, above float64) float64 {
		var l Limits
		if below > 0 {
			x := distuv.UnitNormal.Quantile(below)
			l.Min = &x
		}
		if above > 0 {
			x := distuv.UnitNormal.Quantile(1 - above)
			l.Max = &x
		}
		hits := 0
		rule := s.rule(n, plan)
		for range trials {
			mean, sd := stat.MeanStdDev(normals(r, n, 0, 1), nil)
			if v, _ := rule.decide(&l, mean, sd); v == of {
				hits++
			}
		}
		return float64(hits) / trials
	}
	const slack = 0.019 // four standard errors at 10 %
	for _, split := range []float64{0, 0.1, 0.5, 1} {
		for _, n := range []int{3, 5, 12, plan} {
			if got := chance(Accept, n, risks.Limiting*split, risks.Limiting*(1-split)); got > risks.Consumer+slack {
				t.Errorf("n %d, %g of it below: accepted with a chance of %.3f, want %g at most", n, split, got, risks.Consumer)
			}
			if got := chance(Reject, n, risks.Acceptable*split, risks.Acceptable*(1-split)); got > risks.Producer+slack {
				t.Errorf("n %d, %g of it below: rejected with a chance of %.3f, want %g at most", n, split, got, risks.Producer)
			}
		}
	}
}

// With one limit the greatest share is the k method and nothing else.
func TestShareIsKMethod(t *testing.T) {
	s := sampling{Risks{0.01, 0.10, 0.05, 0.10}}
	for _, n := range []int{5, 12, 21} {
		k := s.accept(n)
		limit := 100.0
		l := Limits{Min: &limit}
		if v, _ := s.rule(n, 21).decide(&l, 100+(k+1e-6)*3, 3); v != Accept {
			t.Errorf("n %d: %s just beyond k", n, v)
		}
		if v, _ := s.rule(n, 21).decide(&l, 100+(k-1e-6)*3, 3); v == Accept {
			t.Errorf("n %d: accepted just short of k", n)
		}
	}
}

func TestDecisions(t *testing.T) {
	low, high := 90.0, 110.0
	s := sampling{Risks{0.01, 0.10, 0.05, 0.10}}
	l := Limits{Min: &low, Max: &high}
	for _, c := range []struct {
		n        int
		mean, sd float64
		want     Answer
	}{
		{3, 100, 5, MeasureMore}, {3, 100, 1, Accept}, {10, 100, 2, Accept}, {10, 92, 5, Reject}, {10, 100, 5, MeasureMore}, {21, 100, 4.5, Accept}, {21, 100, 6, Reject},
	} {
		rule := s.rule(c.n, 21)
		if v, _ := rule.decide(&l, c.mean, c.sd); v != c.want || rule.acceptAt > rule.rejectAt {
			t.Errorf("%+v: got %s by %+v", c, v, rule)
		}
	}
}

// What is asked for is enough: with so many magnets of the same mean and scatter
// there is a decision, and with one fewer there is none.
func TestMoreIsEnough(t *testing.T) {
	low, high := 180.0, 254.0
	r := sample(t)
	report, err := r.Characterise("M-01", Options{Limits: Limits{&low, &high}, Risks: Risks{Limiting: 0.05}})
	if err != nil {
		t.Fatal(err)
	}
	d := report.Decision
	if d.Answer != MeasureMore || d.AtMost != d.Plan-18 || d.Likely < 1 || d.Likely > d.AtMost {
		t.Fatalf("got %+v", d)
	}
	s := sampling{d.Risks}
	mean, sd := stat.MeanStdDev(strengths(report.Magnets), nil)
	if v, _ := s.rule(18+d.Likely, d.Plan).decide(&d.Limits, mean, sd); v == MeasureMore {
		t.Errorf("%d more magnets do not decide", d.Likely)
	}
	if v, _ := s.rule(18+d.Likely-1, d.Plan).decide(&d.Limits, mean, sd); v != MeasureMore {
		t.Errorf("one fewer than %d more decides as well: %s", d.Likely, v)
	}
	if !strings.Contains(d.Sentence(), "180.0 to 254.0 mT") {
		t.Errorf("sentence: %s", d.Sentence())
	}
}

// So it is from too few magnets to judge, and without scatter to go by.
func TestLikelyFromFew(t *testing.T) {
	low, high := 90.0, 110.0
	l := Limits{Min: &low, Max: &high}
	s := sampling{Risks{0.01, 0.10, 0.05, 0.10}}
	for n := 2; n <= 5; n++ {
		more := s.likely(&l, n, 21, 100, 5)
		now, _ := s.rule(n+more, 21).decide(&l, 100, 5)
		before, _ := s.rule(n+more-1, 21).decide(&l, 100, 5)
		if now == MeasureMore || before != MeasureMore {
			t.Errorf("%d magnets, %d more: %s, with one fewer %s", n, more, now, before)
		}
	}
	for _, sd := range []float64{0, math.NaN()} {
		if got := s.likely(&l, 1, 21, 100, sd); got != 20 {
			t.Errorf("without scatter: got %d more, want the whole plan", got)
		}
	}
}

func TestPercent(t *testing.T) {
	for share, want := range map[float64]string{1: "100", 0.943: "94", 0.0312: "3.1", 0.00032: "0.032", 3.9e-14: "less than 0.001", 0: "0"} {
		if got := percent(share); got != want {
			t.Errorf("%g: got %s, want %s", share, got, want)
		}
	}
}
