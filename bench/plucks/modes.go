package main

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strings"

	"evenpole/jig"
	"evenpole/profiles"
	"evenpole/recording"
	"evenpole/recording/soundtest"

	"gonum.org/v1/gonum/floats"
)

// tuning is what strings are tuned to.
type tuning struct {
	name  string
	notes string
	hard  bool
}

var tunings = []tuning{
	{"guitar", "E4 B3 G3 D3 A2 E2", false},
	{"guitar, low D", "E4 B3 G3 D3 A2 D2", false},
	{"guitar, a semitone lower", "D#4 A#3 F#3 C#3 G#2 D#2", false},
	{"guitar, two tones lower", "C4 G3 D#3 A#2 F2 C2", false},
	{"guitar, D A D G A D", "D4 A3 G3 D3 A2 D2", false},
	{"guitar, open G", "D4 B3 G3 D3 G2 D2", false},
	{"guitar, 7 strings", "E4 B3 G3 D3 A2 E2 B1", false},
	{"baritone", "B3 F#3 D3 A2 E2 B1", false},
	{"bass", "G2 D2 A1 E1", false},
	{"bass, 5 strings", "G2 D2 A1 E1 B0", false},
	{"bass, low D", "G2 D2 A1 D1", false},
	{"12 strings", "E4 E4 B3 B3 G4 G3 D4 D3 A3 A2 E3 E2", true},
}

func (t tuning) hz() []float64 {
	var out []float64
	for _, n := range strings.Fields(t.notes) {
		hz, err := profiles.Pitch(n)
		if err != nil {
			panic(err) // of a table of ours
		}
		out = append(out, hz)
	}
	return out
}

// between draws a number; log draws it evenly on a logarithmic scale.
func between(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }
func log(r *rand.Rand, low, high float64) float64 {
	return low * math.Pow(high/low, r.Float64())
}

// pluckOf draws a pluck of a string.
func pluckOf(r *rand.Rand, at float64, str int, hz, gap float64) soundtest.Pluck {
	return soundtest.Pluck{
		At: at, String: str, Freq: hz * math.Pow(2, between(r, -15, 15)/1200), Level: log(r, 0.01, 0.12),
		Place: between(r, 0.05, 0.3), Pickup: between(r, 0.05, 0.25), Stiff: log(r, 1e-6, 2e-4), Decay: log(r, 0.3, 4), Bright: log(r, 0.05, 0.6),
		Drift: between(r, 0, 20), Buzz: []float64{0, 0, 0, 0.05}[r.IntN(4)], Stop: max(0.56, gap-between(r, 0.04, 0.2)), Scrape: log(r, 0.01, 0.3),
	}
}

// sceneOf draws a recording of a guitar.
func sceneOf(t tuning, seed uint64) *sound {
	r := rand.New(rand.NewPCG(seed, uint64(len(t.notes))<<32+uint64(t.notes[0])))
	notes := t.hz()
	sc := soundtest.Scene{Rate: []int{22050, 44100, 48000, 96000}[r.IntN(4)], Mains: []float64{50, 60}[r.IntN(2)], Offset: between(r, -0.02, 0.02),
		Hum: log(r, 1e-6, 3e-4), Noise: log(r, 1e-6, 2e-4), Knock: 0.05}
	s := &sound{name: fmt.Sprintf("%s %d", t.name, seed), rate: sc.Rate, near: 0.04, notes: notes}
	at := between(r, 0.4, 1.5)
	for range 4 {
		for i, hz := range notes {
			gap := log(r, 0.8, 2.5)
			p := pluckOf(r, at, i+1, hz, gap)
			sc.Plucks = append(sc.Plucks, p)
			s.played = append(s.played, played{at, i + 1, p.Freq})
			at += gap
		}
		sc.Knocks = append(sc.Knocks, at)
		at += between(r, 0.5, 1)
	}
	sc.Seconds = at
	s.store(&sc, r)
	return s
}

// silence draws a recording in which nothing is plucked.
func silence(seed uint64) *sound {
	r := rand.New(rand.NewPCG(seed, 99))
	sc := soundtest.Scene{Rate: 44100, Mains: []float64{50, 60}[r.IntN(2)], Offset: between(r, -0.02, 0.02), Hum: log(r, 1e-6, 3e-2), Noise: log(r, 1e-6, 1e-2),
		Seconds: 20, Knock: log(r, 0.001, 0.5)}
	for range 6 {
		sc.Knocks = append(sc.Knocks, between(r, 0, 20))
	}
	s := &sound{name: fmt.Sprintf("silence %d", seed), rate: sc.Rate, near: 0.04, notes: tunings[r.IntN(len(tunings)-1)].hz()}
	s.store(&sc, r)
	return s
}

// store stores a scene as a file of one depth.
func (s *sound) store(sc *soundtest.Scene, r *rand.Rand) {
	depth := []int{16, 24, 32, -32, -64}[r.IntN(5)]
	alone := *sc
	alone.Hum, alone.Noise, alone.Offset, alone.Knocks = 0, 0, 0, nil
	seed := r.Uint64()
	s.whole = sc.Sound(rand.New(rand.NewPCG(seed, 0)))
	s.clean = alone.Sound(rand.New(rand.NewPCG(seed, 0)))
	if top := floats.Norm(s.whole, math.Inf(1)); top > 0.95 { // who records sets the gain so that nothing clips
		floats.Scale(0.95/top, s.whole)
		floats.Scale(0.95/top, s.clean)
	}
	s.file = soundtest.WAV(s.whole, sc.Rate, depth, 1+r.IntN(2))
}

// fault is something that goes wrong with a pluck.
type fault struct {
	name string
	flag jig.Flags
	do   func(sc *soundtest.Scene, p *soundtest.Pluck, r *rand.Rand, notes []float64)
}

var faults = []fault{
	{"none", 0, func(*soundtest.Scene, *soundtest.Pluck, *rand.Rand, []float64) {}},
	{"struck twice", jig.DoubleStrike, func(sc *soundtest.Scene, p *soundtest.Pluck, r *rand.Rand, _ []float64) {
		again := *p
		again.At += between(r, 0.05, 0.2)
		p.Stop = again.At - p.At - between(r, 0.02, 0.045) // the pick is on the string
		again.Level *= between(r, 0.6, 1)
		sc.Plucks = append(sc.Plucks, again)
	}},
	{"cut short", jig.ShortWindow, func(_ *soundtest.Scene, p *soundtest.Pluck, r *rand.Rand, _ []float64) {
		p.Stop = between(r, 0.15, 0.4)
	}},
	{"two strings at once", jig.Fault, func(sc *soundtest.Scene, p *soundtest.Pluck, r *rand.Rand, notes []float64) {
		other := *p
		other.String = p.String%len(notes) + 1
		other.Freq = notes[other.String-1]
		other.At += between(r, 0, 0.05)
		other.Level *= between(r, 0.5, 1)
		sc.Plucks = append(sc.Plucks, other)
	}},
	{"pitch that is no string's", jig.Fault, func(_ *soundtest.Scene, p *soundtest.Pluck, r *rand.Rand, _ []float64) {
		p.Freq *= math.Pow(2, between(r, 1, 2)/12)
	}},
	{"clipped", jig.Clipped, func(sc *soundtest.Scene, p *soundtest.Pluck, r *rand.Rand, _ []float64) {
		p.Level, sc.Clip, p.Decay = 0.3, between(r, 0.12, 0.2), max(p.Decay, 0.6)
	}},
	{"hum", jig.Fault, func(sc *soundtest.Scene, p *soundtest.Pluck, _ *rand.Rand, _ []float64) {
		p.Level, sc.Hum = 0.03, 0.045
	}},
}

// faultRows prints how many of the takes that something is wrong with are flagged.
func faultRows(w io.Writer, o options) {
	fmt.Fprintln(w, "takes with something wrong               plucks  as one take  flagged so")
	notes := tunings[0].hz()
	for _, f := range faults {
		made, one, flagged := 0, 0, 0
		for k := range 10 * o.scenes {
			r := rand.New(rand.NewPCG(o.seed+uint64(k), 7))
			sc := soundtest.Scene{Rate: 48000, Seconds: 3.5, Hum: 1e-4, Noise: 1e-5}
			i := k % len(notes)
			p := pluckOf(r, 1.2, i+1, notes[i], 1.5)
			p.Level, p.Buzz = max(p.Level, 0.03), 0
			f.do(&sc, &p, r, notes)
			sc.Plucks = append(sc.Plucks, p)
			x := sc.Sound(r)
			l := recording.Listen(recording.Format{Rate: sc.Rate, Bits: 24, Channels: 1, Channel: 1}, recording.Options{Notes: notes})
			heard := append(l.Hear(x), l.End()...)
			made++
			if len(heard) == 1 {
				one++
			}
			if len(heard) > 0 && (heard[0].Flags&f.flag != 0 || f.flag == 0 && heard[0].Flags == 0) {
				flagged++
			} else if o.verbose {
				fmt.Fprintf(w, "  %s %d: %d heard %v\n", f.name, k, len(heard), heard)
			}
		}
		fmt.Fprintf(w, "%-40s %6d %12d %11d\n", f.name, made, one, flagged)
	}
}
