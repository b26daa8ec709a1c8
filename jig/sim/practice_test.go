package sim

import (
	"fmt"
	"math"
	"testing"
	"testing/synctest"
	"time"

	"evenpole/jig"
)

// practised is a jig with one pickup on a bench on which things happen.
func practised(p Practice, s Scatter) *Jig {
	j := New(Config{Scatter: &s, Practice: p})
	pole := Pole{Height: 1, Radius: 2.38, Length: 16.5, Remanence: 0.31}
	j.Mount(Mounted{
		Poles:         []Pole{pole, pole, pole},
		Strings:       []String{{Gauge: 0.254, Freq: 329.63}, {Gauge: 0.33, Freq: 246.94}, {Gauge: 0.432, Freq: 196}},
		StringHeights: []float64{3, 3, 3},
	})
	return j
}

// arrive is a capture of one take of each string: who it is, and their levels in dB.
func arrive(j *Jig) (firmware string, levels []float64) {
	j.arrive(jig.Command{ID: 1, Verb: jig.VerbIdent})
	for i := range j.bench.Strings {
		j.keep(j.measure(jig.PluckCommand(i+1, 1), 1))
		levels = append(levels, 20*math.Log10(float64(j.log[len(j.log)-1].RMSUV)))
	}
	return j.firmware(), levels
}

// Every capture is a mounting; days pass, hands take turns day by day, and the level
// drifts.
func TestPractice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var told []string
		j := practised(Practice{
			Remount: true, Hands: []string{"Bo", "Ida"}, FirstDay: time.Date(2026, 2, 28, 0, 0, 0, 0, time.UTC), PerDay: 2, Drift: -0.5,
			Told: func(m Mounting) { told = append(told, fmt.Sprint(m.Number, m.Hand, m.Day.Day())) },
		}, Scatter{})
		j.powerUp()
		var all [][]float64
		for _, want := range []string{"sim 2026-02-28", "sim 2026-02-28", "sim 2026-03-01", "sim 2026-03-01", "sim 2026-03-02"} {
			firmware, levels := arrive(j)
			if firmware != want {
				t.Errorf("firmware %q, want %q", firmware, want)
			}
			all = append(all, levels)
		}
		if got := fmt.Sprint(told); got != "[1Bo28 2Bo28 3Ida1 4Ida1 5Bo2]" {
			t.Error(got)
		}
		for i := range all[0] {
			if d := all[4][i] - all[0][i]; math.Abs(d+1) > 1e-3 {
				t.Errorf("string %d: %.4f dB in two days, by the same hand", i+1, d)
			}
			if d := all[1][i] - all[0][i]; math.Abs(d) > 1e-3 {
				t.Errorf("string %d: %.4f dB within a day", i+1, d)
			}
		}
		tilt := func(l []float64) float64 { return l[2] - l[0] }
		if d := math.Abs(tilt(all[2]) - tilt(all[0])); d < 0.02 || d > 2 {
			t.Errorf("hands differ by %.3f dB from string 1 to 3", d)
		}
	})
}

// A host that comes back before anything was made finds what it left; without Remount
// nothing is touched.
func TestMountedAnewOnlyForACapture(t *testing.T) {
	for remount, want := range map[bool]int{true: 2, false: 1} {
		j := practised(Practice{Remount: remount}, Ordinary())
		j.powerUp()
		for range 3 {
			j.arrive(jig.Command{ID: 1, Verb: jig.VerbIdent})
		}
		arrive(j)
		arrive(j)
		if j.mounts != want {
			t.Errorf("remount %t: %d mountings, want %d", remount, j.mounts, want)
		}
	}
}

// A worn plectrum's takes scatter so many times as much as the others'.
func TestWorn(t *testing.T) {
	j := practised(Practice{}, Scatter{Pluck: 0.02, Worn: map[int]float64{2: 3}})
	j.powerUp()
	var sums [3]float64
	for range 400 {
		_, levels := arrive(j)
		for i, l := range levels {
			d := l - 20*math.Log10(1000*j.bench.levels[i])
			sums[i] += d * d
		}
	}
	for i, want := range []float64{0.174, 0.521, 0.174} {
		if sd := math.Sqrt(sums[i] / 400); math.Abs(sd/want-1) > 0.15 {
			t.Errorf("string %d: takes scatter by %.3f dB, want %.3f", i+1, sd, want)
		}
	}
}
