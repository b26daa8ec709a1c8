package capture_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"testing/synctest"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/jig/jigtest"
	"evenpole/jig/sim"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// scattering is a jig whose takes of each string scatter normally, by a standard
// deviation in dB.
func scattering(seed uint64, sd [3]float64) jigtest.Config {
	return jigtest.Config{Level: func(s jigtest.Shot) int {
		if s.Mode == "Q" {
			return 200
		}
		r := rand.New(rand.NewPCG(seed, uint64(1000*s.String+s.Nth)))
		return int(90_000 * math.Pow(10, sd[s.String-1]*r.NormFloat64()/20))
	}}
}

// plucked are the tallies of plucks, by string.
func plucked(res *capture.Result) (out []capture.Tally) {
	for _, t := range res.Tallies {
		if t.Mode == record.Pluck {
			out = append(out, t)
		}
	}
	return out
}

// Each string has as many takes as its scatter needs and no more; the same command adds
// nothing, and what was cut short goes on to the same takes.
func TestUntilAStandardError(t *testing.T) {
	sd := [3]float64{0.1, 0.2, 0.4}
	opt := capture.Options{Until: 0.1, Quiet: 1}
	var whole []capture.Tally
	onBench(t, scattering(1, sd), func(b *bench) {
		res := b.must(opt)
		whole = plucked(res)
		for i, s := range whole {
			if !res.Complete || s.Good != s.Wanted || s.StandardError <= 0 || s.StandardError > 0.1 || s.Made != s.Good {
				t.Errorf("string %d: %+v", i+1, s)
			}
		}
		if whole[0].Good > 5 || whole[2].Good < 10 || whole[2].Good > 30 {
			t.Errorf("takes: %+v", whole)
		}
		if again := b.must(opt); !again.Already || again.Kept != 0 {
			t.Errorf("again: %+v", again)
		}
		if more := b.must(capture.Options{Until: 0.08, Quiet: 1}); more.Already || more.Session != res.Session {
			t.Errorf("a smaller standard error: %+v", more)
		}
	})
	onBench(t, scattering(1, sd), func(b *bench) {
		stop := make(chan struct{})
		n := 0
		cut := opt
		cut.Stop = stop
		cut.Progress = func(capture.Progress) {
			if n++; n == 12 {
				close(stop)
			}
		}
		if _, err := b.run(cut); err == nil {
			t.Fatal("was not stopped")
		}
		for i, s := range plucked(b.must(opt)) {
			if s.Good != whole[i].Good || s.StandardError != whole[i].StandardError {
				t.Errorf("string %d: %d takes to %g dB in two parts, %d to %g in one", i+1, s.Good, s.StandardError, whole[i].Good, whole[i].StandardError)
			}
		}
	})
}

// Whoever works the standard error out of a string's own takes finds no more than was asked,
// though they may lie farther apart than those of the strings before it.
func TestUntilHoldsForAStringsOwnTakes(t *testing.T) {
	for seed := range uint64(12) {
		onBench(t, scattering(seed, [3]float64{0.15, 0.2, 0.25}), func(b *bench) {
			res := b.must(capture.Options{Until: 0.1, Quiet: 1})
			for i, s := range plucked(res) {
				own := stat.StdErr(stat.StdDev(levels(b.readings(), res.Session, i+1), nil), float64(s.Good))
				if own > 0.1 || own > s.StandardError+1e-9 {
					t.Errorf("seed %d, string %d: %d takes have a standard error of %.3f dB by their own scatter, and %.3f dB is told", seed, i+1, s.Good, own, s.StandardError)
				}
			}
		})
	}
}

// What scatters too much ends at the bound, and says how far it got.
func TestUntilHasABound(t *testing.T) {
	onBench(t, scattering(2, [3]float64{0.1, 3, 0.1}), func(b *bench) {
		res := b.must(capture.Options{Until: 0.1, Takes: 12, Quiet: 1})
		if s := plucked(res)[1]; s.Good != 12 || s.StandardError < 0.5 || !res.Complete {
			t.Errorf("%+v", s)
		}
		if s := plucked(res)[2]; s.Good > 12 {
			t.Errorf("%+v", s)
		}
	})
	onBench(t, scattering(3, [3]float64{3, 3, 3}), func(b *bench) {
		if s := plucked(b.must(capture.Options{Until: 0.1, Quiet: 1})); slices.ContainsFunc(s, func(t capture.Tally) bool { return t.Good != 40 }) {
			t.Errorf("%+v", s)
		}
	})
}

func TestUntilIsRefused(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		for want, opt := range map[string]capture.Options{
			"until: expected a standard error": {Until: -1},
			"until: expected takes of strings": {Until: 0.1, FieldPositions: []int{1}},
			"takes: expected 3 or more":        {Until: 0.1, Takes: 2},
		} {
			if _, err := b.run(opt); err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%s: got %v", want, err)
			}
		}
	})
}

// On the simulated jig a capture until 0.1 dB ends with fewer takes than a fixed count
// that is as sure: the least after which 95 of 100 strings are known to 0.1 dB by their
// own takes, as those of the former are. The more the strings differ, the more it saves.
func TestUntilBesideAFixedCount(t *testing.T) {
	worn := sim.Ordinary()
	worn.Worn = map[int]float64{2: 3}
	for name, scatter := range map[string]sim.Scatter{"ordinary": sim.Ordinary(), "a worn plectrum under string 2": worn} {
		var c comparison
		for seed := range uint64(12) {
			dir := t.TempDir()
			synctest.Test(t, func(t *testing.T) {
				j := sim.New(sim.Config{Seed: seed, Scatter: &scatter})
				j.Mount(onSim)
				b := &bench{t: t, dir: dir, dev: j}
				b.plug()
				c.add(b)
				b.conn.Close()
				synctest.Wait()
			})
		}
		takes, off, fixed := c.result()
		t.Logf("%s: until %g dB %.1f takes a string, whose means are %.2f dB (rms) off those of %d others; as sure by a fixed count: %d takes", name, until, takes, off, mostCompared, fixed)
		if takes >= float64(fixed) {
			t.Errorf("%s: %.1f takes a string until %g dB, and %d by a fixed count", name, takes, until, fixed)
		}
		if off > 1.3*until {
			t.Errorf("%s: means that were to be known to %g dB are off by %.2f dB", name, until, off)
		}
	}
}

const (
	until        = 0.1
	mostCompared = 40
)

// comparison is of captures until a standard error with ones of a fixed count.
type comparison struct {
	takes, strings int
	squares        float64               // of what the former's means are off by, dB²
	sure           [mostCompared + 1]int // strings that are known well enough after so many takes
}

// add captures one pickup in both ways.
func (c *comparison) add(b *bench) {
	first := plucked(b.must(capture.Options{Until: until, AsMounted: true}))
	b.must(capture.Options{Takes: mostCompared, Again: true, AsMounted: true})
	rows := b.readings()
	for i, s := range first {
		a, z := levels(rows, "s001", i+1), levels(rows, "s002", i+1)
		off := stat.Mean(a, nil) - stat.Mean(z, nil)
		c.takes, c.strings, c.squares = c.takes+s.Good, c.strings+1, c.squares+off*off
		for n := 3; n <= mostCompared; n++ {
			half := distuv.StudentsT{Sigma: 1, Nu: float64(n - 1)}.Quantile(0.8413) * stat.StdDev(z[:n], nil) / math.Sqrt(float64(n))
			if half <= until {
				c.sure[n]++
			}
		}
	}
}

// result is the mean number of takes, by how much their means are off (rms), and the fixed
// count that is as sure.
func (c *comparison) result() (takes, off float64, fixed int) {
	for fixed = 3; fixed < mostCompared && float64(c.sure[fixed]) < 0.95*float64(c.strings); {
		fixed++
	}
	return float64(c.takes) / float64(c.strings), math.Sqrt(c.squares / float64(c.strings)), fixed
}

// levels are those of a string's good takes, dB.
func levels(rows []record.Reading, session string, number int) (x []float64) {
	for _, r := range rows {
		if r.Session == session && r.Mode == record.Pluck && r.String == number && r.Status == record.OK {
			x = append(x, 10*math.Log10(r.RMS*r.RMS-r.Quiet*r.Quiet))
		}
	}
	return x
}
