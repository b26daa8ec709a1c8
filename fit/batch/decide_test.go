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
	n, k, err := sampling{Risks: Risks{0.01, 0.06, 0.05, 0.10}}.plan()
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
		n, k, err := sampling{Risks: r}.plan()
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

// chanceOf is the chance of a verdict, or of any other when not is set, on n values of a
// normal distribution, worked out over the standard deviation's quantiles from what decide
// answers: for each, the verdict holds for means of an interval round one far within the
// limits.
func chanceOf(r rule, l *Limits, v Answer, not bool, mean, sd float64) float64 {
	const quantiles = 1000
	within := 0.0
	if l.Min == nil {
		within = -1e2
	} else if l.Max == nil {
		within = 1e2
	}
	chi, root, sum := distuv.ChiSquared{K: float64(r.n - 1)}, math.Sqrt(float64(r.n))/sd, 0.0
	for i := range quantiles {
		s := sd * math.Sqrt(chi.Quantile((float64(i)+0.5)/quantiles)/float64(r.n-1))
		holds := func(m float64) bool {
			got, _ := r.decide(l, m, s)
			return (got == v) != not
		}
		if !holds(within) {
			continue
		}
		edge := func(out float64) float64 {
			if holds(out) {
				return out
			}
			in := within
			for math.Abs(out-in) > 1e-6 {
				if m := (in + out) / 2; holds(m) {
					in = m
				} else {
					out = m
				}
			}
			return in
		}
		sum += distuv.UnitNormal.CDF(root*(edge(1e2)-mean)) - distuv.UnitNormal.CDF(root*(edge(-1e2)-mean))
	}
	return sum / quantiles
}

// split is the mean and the standard deviation with which a share lies beyond limits of -1
// and 1, so much of it below.
func split(share, below float64) (l Limits, mean, sd float64) {
	low, high := -1.0, 1.0
	switch below {
	case 0:
		return Limits{Max: &high}, 1 - distuv.UnitNormal.Quantile(1-share), 1
	case 1:
		return Limits{Min: &low}, distuv.UnitNormal.Quantile(1-share) - 1, 1
	}
	near, far := distuv.UnitNormal.Quantile(1-share*below), distuv.UnitNormal.Quantile(1-share*(1-below))
	sd = 2 / (near + far)
	return Limits{&low, &high}, near*sd - 1, sd
}

// The risks at the plan's number of magnets and at Wald's limits before, by exact
// calculation: no more than their shares of what is agreed, for one limit and however what is beyond is split between two.
func TestRisks(t *testing.T) {
	const rounding = 2e-5 // of the sum over quantiles
	for risks, splits := range map[Risks][]float64{
		{0.01, 0.10, 0.05, 0.10}: {0, 1e-6, 0.1, 0.35, 0.5, 1},
		{0.02, 0.30, 0.10, 0.05}: {0.1, 0.5},
	} {
		for _, below := range splits {
			l, _, _ := split(risks.Limiting, below)
			d := lookingFor(t, &l, risks)
			for _, n := range []int{3, 9, 12, 20, d.plan.n} {
				rule, part := d.at(n), waldShare
				if n == d.plan.n {
					rule, part = d.plan, 1-waldShare
				}
				l, mean, sd := split(risks.Limiting, below)
				if got := chanceOf(rule, &l, Accept, false, mean, sd); got > part*risks.Consumer+rounding {
					t.Errorf("n %d, %g of it below: accepted with a chance of %.5f, want %g at most", n, below, got, part*risks.Consumer)
				}
				_, mean, sd = split(risks.Acceptable, below)
				if got := 1 - chanceOf(rule, &l, Reject, true, mean, sd); got > part*risks.Producer+rounding {
					t.Errorf("n %d, %g of it below: rejected with a chance of %.5f, want %g at most", n, below, got, part*risks.Producer)
				}
			}
		}
	}
}

// worked are plans that are worked out already.
var worked = map[sampling]*looking{}

// lookingFor is how batches are decided on.
func lookingFor(t *testing.T, l *Limits, r Risks) *looking {
	t.Helper()
	s := samplingFor(l, r)
	if worked[s] == nil {
		d, err := s.looking()
		if err != nil {
			t.Fatal(err)
		}
		worked[s] = d
	}
	return worked[s]
}

// 200,000 simulated batches where both limits add up most: as said.
func TestRiskOfSimulatedBatches(t *testing.T) {
	const trials, n = 200_000, 12
	risks := Risks{0.01, 0.10, 0.05, 0.10}
	l, mean, sd := split(risks.Limiting, 0.3)
	rule := lookingFor(t, &l, risks).at(n)
	want := chanceOf(rule, &l, Accept, false, mean, sd)
	r := rand.New(rand.NewPCG(13, 14))
	hits := 0
	for range trials {
		m, s := stat.MeanStdDev(normals(r, n, mean, sd), nil)
		if v, _ := rule.decide(&l, m, s); v == Accept {
			hits++
		}
	}
	covers(t, "accepted", hits, trials, want)
}

// With both limits it takes a little more than with one, and no more than that.
func TestBothLimitsTakeLittleMore(t *testing.T) {
	one := sampling{Risks: Risks{0.01, 0.10, 0.05, 0.10}}
	both := sampling{one.Risks, true}
	for _, n := range []int{3, 5, 12, 50, 500} {
		if a, b := one.accept(n), both.accept(n); !(a <= b && b < 1.02*a) {
			t.Errorf("n %d: accepted from k %.5f with one limit, from %.5f with two", n, a, b)
		}
		if a, b := one.reject(n), both.reject(n); !(b <= a && b > 0.98*a) {
			t.Errorf("n %d: rejected below k %.5f with one limit, below %.5f with two", n, a, b)
		}
	}
	n1, _, err1 := one.plan()
	n2, _, err2 := both.plan()
	if err1 != nil || err2 != nil || n2 < n1 || n2 > n1+2 {
		t.Errorf("plans of %d and %d magnets, %v, %v", n1, n2, err1, err2)
	}
}

// With one limit the greatest share is the k method and nothing else.
func TestShareIsKMethod(t *testing.T) {
	limit := 100.0
	l := Limits{Min: &limit}
	d := lookingFor(t, &l, Risks{0.01, 0.10, 0.05, 0.10})
	for _, rule := range []rule{d.at(10), d.at(15), d.plan} {
		if v, _ := rule.decide(&l, 100+(rule.k+1e-6)*3, 3); v != Accept {
			t.Errorf("n %d: %s just beyond k", rule.n, v)
		}
		if v, _ := rule.decide(&l, 100+(rule.k-1e-6)*3, 3); v == Accept {
			t.Errorf("n %d: accepted just short of k", rule.n)
		}
	}
}

func TestDecisions(t *testing.T) {
	low, high := 90.0, 110.0
	l := Limits{Min: &low, Max: &high}
	d := lookingFor(t, &l, Risks{0.01, 0.10, 0.05, 0.10})
	for _, c := range []struct {
		n        int
		mean, sd float64
		want     Answer
	}{
		{3, 100, 5, MeasureMore}, {3, 100, 1, MeasureMore}, {12, 100, 2, Accept}, {10, 91, 5, Reject}, {10, 100, 5, MeasureMore}, {d.plan.n, 100, 4.5, Accept}, {d.plan.n, 100, 6, Reject},
	} {
		rule := d.at(c.n)
		if c.n == d.plan.n {
			rule = d.plan
		}
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
	if d.Answer != MeasureMore || d.By != 18 || d.AtMost != d.Plan-18 || d.Likely < 1 || d.Likely > d.AtMost {
		t.Fatalf("got %+v", d)
	}
	looking := lookingFor(t, &d.Limits, d.Risks)
	mean, sd := stat.MeanStdDev(strengths(report.Magnets), nil)
	decides := func(n int) bool {
		v, _ := looking.at(n).decide(&d.Limits, mean, sd)
		return v != MeasureMore || n >= d.Plan
	}
	if !decides(18 + d.Likely) {
		t.Errorf("%d more magnets do not decide", d.Likely)
	}
	if decides(18 + d.Likely - 1) {
		t.Errorf("one fewer than %d more decides as well", d.Likely)
	}
	if !strings.Contains(d.Sentence(), "180.0 to 254.0 mT") {
		t.Errorf("sentence: %s", d.Sentence())
	}
}

// So it is from too few magnets to judge, and without scatter to go by.
func TestLikelyFromFew(t *testing.T) {
	low, high := 90.0, 110.0
	l := Limits{Min: &low, Max: &high}
	d := lookingFor(t, &l, Risks{0.01, 0.10, 0.05, 0.10})
	for n := 2; n <= 5; n++ {
		more := d.likely(&l, n, 100, 3)
		now, _ := d.at(n+more).decide(&l, 100, 3)
		before, _ := d.at(n+more-1).decide(&l, 100, 3)
		if now == MeasureMore || before != MeasureMore {
			t.Errorf("%d magnets, %d more: %s, with one fewer %s", n, more, now, before)
		}
	}
	for _, sd := range []float64{0, math.NaN()} {
		if got := d.likely(&l, 1, 100, sd); got != d.plan.n-1 {
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
