package batch

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// lookedAtUntilTold measures a batch magnet by magnet, looks at it after every few, and
// says what the first look that tells says.
func lookedAtUntilTold(d *looking, l *Limits, values []float64, every int) Answer {
	for n := every; n <= len(values); n += every {
		if n < leastMagnets {
			continue
		}
		if v, _, _ := d.decide(l, values[:n]); v != MeasureMore {
			return v
		}
	}
	return MeasureMore
}

// A batch that is looked at after every magnet, or after every five, until a look tells,
// is accepted and rejected wrongly no more often than agreed, with one limit and with two:
// with three standard errors of 2500 simulated batches. Limits that keep the risks at each
// look by itself fail it by far.
func TestRiskOfLookingAgain(t *testing.T) {
	const trials, most = 2500, 40
	risks := Risks{0.01, 0.10, 0.05, 0.10}
	r := rand.New(rand.NewPCG(25, 26))
	for _, below := range []float64{1, 0.1, 0.5} {
		for _, bad := range []struct {
			share, risk float64
			answer      Answer
		}{{risks.Limiting, risks.Consumer, Accept}, {risks.Acceptable, risks.Producer, Reject}} {
			l, mean, sd := split(bad.share, below)
			d := lookingFor(t, &l, risks)
			hits := map[int]int{}
			for range trials {
				values := normals(r, most, mean, sd)
				for _, every := range []int{1, 5} {
					if lookedAtUntilTold(d, &l, values, every) == bad.answer {
						hits[every]++
					}
				}
			}
			for every, n := range hits {
				got := float64(n) / trials
				if got > bad.risk+3*math.Sqrt(bad.risk*(1-bad.risk)/trials) || got < bad.risk/4 {
					t.Errorf("%g of it below, looked at after every %d: %s with a chance of %.4f, want %g", below, every, bad.answer, got, bad.risk)
				}
			}
		}
	}
}

// Looked at on and on after a verdict, too, the wrong one never comes more often.
func TestRiskOfLookingOn(t *testing.T) {
	const trials, most = 1500, 150
	risks := Risks{0.01, 0.10, 0.05, 0.10}
	r := rand.New(rand.NewPCG(27, 28))
	l, mean, sd := split(risks.Limiting, 1)
	d := lookingFor(t, &l, risks)
	hits := 0
	for range trials {
		values := normals(r, most, mean, sd)
		for n := leastMagnets; n <= most; n++ {
			if v, _, _ := d.decide(&l, values[:n]); v == Accept {
				hits++
				break
			}
		}
	}
	if got, bound := float64(hits)/trials, risks.Consumer+3*math.Sqrt(0.09/trials); got > bound {
		t.Errorf("ever accepted with a chance of %.4f, want %g", got, risks.Consumer)
	}
}

// logDensity against differences of the distribution, which is worked out otherwise.
func TestLogDensity(t *testing.T) {
	for _, n := range []int{3, 8, 25, 200} {
		for _, k := range []float64{-1, 0.3, 1.8, 4} {
			const z1, z0, step = 2.3, 1.3, 1e-4
			density := func(z float64) float64 {
				return (oneSidedConfidence(n, z, k+step) - oneSidedConfidence(n, z, k-step)) / (2 * step)
			}
			a, b := density(z1), density(z0)
			if a < 1e-6 || b < 1e-6 {
				continue
			}
			near(t, fmt.Sprintf("n %d, k %g", n, k), math.Exp(logDensity(n, k, z1)-logDensity(n, k, z0)), a/b, 1e-4)
		}
	}
}

// For many magnets Wald's limits lie on either side of where both batches are as likely, as
// far away as the variance of the distance has it: (1 + k²/2)/n.
func TestWaldLimitsOfManyMagnets(t *testing.T) {
	s := sampling{Risks: Risks{0.01, 0.10, 0.05, 0.10}}
	good, bad := distuv.UnitNormal.Quantile(0.99), distuv.UnitNormal.Quantile(0.90)
	const n = 2000
	middle := s.distance(n, 0)
	by := (1 + middle*middle/2) / (n * (good - bad))
	near(t, "accepted from", s.waldAccept(n)-middle, by*math.Log(1/0.10), 0.02)
	near(t, "rejected below", middle-s.waldReject(n), by*math.Log(1/0.05), 0.02)
	if !(bad < middle && middle < good) {
		t.Errorf("as likely at %g, not between %g and %g", middle, bad, good)
	}
}

// Where Wald's limits do not tell, the plan's first magnets decide, and those measured
// after them change nothing; where they do tell, all magnets decide.
func TestFirstMagnetsOfThePlanDecide(t *testing.T) {
	r := rand.New(rand.NewPCG(29, 30))
	low := 0.0
	l := Limits{Min: &low}
	d := lookingFor(t, &l, Risks{0.01, 0.10, 0.05, 0.10})
	byPlan, byAll := 0, 0
	for range 200 {
		values := normals(r, d.plan.n+20, 1.8, 1)
		mean, sd := stat.MeanStdDev(values[:d.plan.n], nil)
		first, _ := d.plan.decide(&l, mean, sd)
		all, _, by := d.decide(&l, values)
		switch {
		case by.n == len(values):
			byAll++
		case by.n != d.plan.n || all != first:
			t.Errorf("decided by %d magnets: %s, by the first %s", by.n, all, first)
		default:
			byPlan++
		}
	}
	if byPlan < 20 || byAll < 20 {
		t.Errorf("%d decided by the plan, %d by all: too few to show anything", byPlan, byAll)
	}
}
