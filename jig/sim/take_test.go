package sim

import (
	"math"
	"testing"

	"evenpole/jig"
)

// The mean square of a decaying sine has a closed form, and a cut one can be
// summed sample by sample.
func TestWave(t *testing.T) {
	w := wave{level: 1, seconds: 0.5, tau: 0.4}
	if got, want := w.meanSquare(1, math.Inf(1)), meanSquare(0.4, 0.5); math.Abs(got/want-1) > 1e-4 {
		t.Errorf("mean square %.6f, want %.6f", got, want)
	}
	const limit, samples = 0.6, 100000
	sum := 0.0
	for k := range samples {
		s := (float64(k) + 0.5) / samples * w.seconds
		v := math.Exp(-s/w.tau) * math.Sin(2*math.Pi*440*s)
		v = max(-limit, min(limit, v))
		sum += v * v / samples
	}
	if got := w.meanSquare(1, limit); math.Abs(got/sum-1) > 1e-3 {
		t.Errorf("cut: mean square %.6f, want %.6f", got, sum)
	}
	if peak := w.peak(); math.Abs(w.meanSquare(peak, math.Inf(1))-1) > 1e-12 {
		t.Errorf("peak %.4f is not that of a level of 1", peak)
	}
}

// pluck makes n readings of a string without a wire.
func pluck(j *Jig, str, n int) []jig.Reading {
	var all []jig.Reading
	for take := range n {
		l := j.measure(jig.PluckCommand(str, n), take+1)
		j.made++
		all = append(all, l.Reading)
	}
	return all
}

func TestReadingOfAnIdealJig(t *testing.T) {
	j := New(Config{Scatter: ideal})
	j.Mount(flat(set, 3))
	for i, want := range j.TrueLevels() {
		x := pluck(j, i+1, 1)[0]
		if got := float64(x.RMSUV) / 1000; math.Abs(got-want) > 0.0006 || x.Flags != 0 {
			t.Errorf("string %d: %.3f mV, flags %x, want %.4f", i+1, got, x.Flags, want)
		}
		if math.Abs(float64(x.FreqMHz)/1000/set[i].Freq-1) > 0.002 || x.WindowMS != 500 || x.PeakUV <= x.RMSUV {
			t.Errorf("string %d: %+v", i+1, x)
		}
	}
}

// Scatter of takes is what was asked for, around the level.
func TestPluckScatter(t *testing.T) {
	j := New(Config{Scatter: &Scatter{Pluck: 0.02}})
	j.Mount(flat(set, 3))
	want := j.TrueLevels()[1]
	const n = 2000
	var sum, squares float64
	for _, x := range pluck(j, 2, n) {
		v := math.Log(float64(x.RMSUV) / 1000 / want)
		sum, squares = sum+v, squares+v*v
	}
	mean, sd := sum/n, math.Sqrt(squares/n)
	// Five standard errors, as above.
	if math.Abs(mean) > 5*0.02/math.Sqrt(n) || math.Abs(sd/0.02-1) > 5/math.Sqrt(2*n) {
		t.Errorf("mean %.5f, sd %.5f, want 0 and 0.02", mean, sd)
	}
}

func TestClipping(t *testing.T) {
	whole := New(Config{Scatter: ideal})
	cut := New(Config{Scatter: ideal, FullScaleUV: 30000})
	for _, j := range []*Jig{whole, cut} {
		j.Mount(flat(set, 2))
	}
	a, b := pluck(whole, 3, 1)[0], pluck(cut, 3, 1)[0]
	if a.Flags != 0 || a.PeakUV < 40000 {
		t.Fatalf("unclipped: %+v", a)
	}
	if b.Flags != jig.Clipped || b.PeakUV != 30000 || b.RMSUV >= a.RMSUV || b.RMSUV < a.RMSUV/4 {
		t.Errorf("clipped: %+v, unclipped: %+v", b, a)
	}
}

func TestSlips(t *testing.T) {
	j := New(Config{Scatter: &Scatter{DoubleStrike: 0.2, Unnoticed: 0.25, ShortWindow: 0.1, Fault: 0.1}})
	j.Mount(flat(set, 3))
	want := j.TrueLevels()[0]
	count := map[string]int{}
	for _, x := range pluck(j, 1, 4000) {
		off := math.Abs(float64(x.RMSUV)/1000/want - 1)
		switch {
		case x.Flags == jig.DoubleStrike && off > 0.04:
			count["double"]++
		case x.Flags == jig.ShortWindow && x.WindowMS < 450 && off > 0.04:
			count["short"]++
		case x.Flags == jig.Fault && off > 0.2:
			count["fault"]++
		case x.Flags == 0 && off > 0.04:
			count["unnoticed"]++
		case x.Flags == 0:
			count["good"]++
		default:
			t.Fatalf("%+v", x)
		}
	}
	// Five standard deviations of a binomial count of about 200 to 600 is below 120.
	for name, expected := range map[string]int{"double": 600, "short": 400, "fault": 400, "unnoticed": 200, "good": 2400} {
		if d := count[name] - expected; d < -150 || d > 150 {
			t.Errorf("%s: %d of 4000, want about %d", name, count[name], expected)
		}
	}
}

// What the mounting and the slots add is there, and not in the truth.
func TestMountingsDiffer(t *testing.T) {
	j := New(Config{Scatter: &Scatter{Height: 0.05}})
	j.Mount(flat(set, 3))
	truth, first := j.TrueLevels(), j.bench.levels
	j.Mount(flat(set, 3))
	if again := j.TrueLevels(); again[0] != truth[0] {
		t.Errorf("truth was %v, is %v", truth, again)
	}
	if j.bench.levels[0] == first[0] || first[0] == truth[0] {
		t.Errorf("mountings %v and %v, truth %v: want them all different", first, j.bench.levels, truth)
	}
}

// The same string comes out of the packet in each mounting, and not for another seed.
func TestActualString(t *testing.T) {
	for _, s := range set {
		a, b, other := s.actual(1, 0, 0.01), s.actual(1, 0, 0.01), s.actual(2, 0, 0.01)
		if a != b || a == other || a.Core == s.Core || a.Core > a.Gauge {
			t.Errorf("%v became %v, %v and %v", s, a, b, other)
		}
	}
}
