package sim

import (
	"math"
	"math/rand/v2"

	"evenpole/jig"
)

// measure makes a reading: what it is like depends on the seed, on what is
// mounted and on how many were made before, and on nothing else.
func (j *Jig) measure(c jig.Command, take int) jig.Line {
	r := source(j.cfg.Seed, "reading", j.made)
	const memory = 0.995 // from one reading to the next
	j.drift = memory*j.drift + math.Sqrt(1-memory*memory)*j.scatter.Drift*r.NormFloat64()
	j.power.seq++
	p := &j.power
	if c.Verb == jig.VerbField {
		tesla := j.bench.fields[c.Position-1] * around(r, j.scatter.Probe)
		return jig.Line{Kind: jig.KindField, Field: jig.Field{
			Boot: p.boot, Seq: p.seq, Millis: j.millis(),
			Position: c.Position, Take: take, FieldUT: int64(math.Round(tesla * 1e6)),
		}}
	}
	x := j.listen(c, r)
	x.Boot, x.Seq, x.Millis, x.String, x.Take = p.boot, p.seq, j.millis(), c.String, take
	return jig.Line{Kind: jig.KindReading, Reading: x}
}

// listen is one take as the jig's input measures it.
func (j *Jig) listen(c jig.Command, r *rand.Rand) jig.Reading {
	i := c.String - 1
	hum := j.bench.hum[i] * around(r, 0.08)
	w := wave{level: j.bench.levels[i] * math.Exp(j.drift), seconds: window, tau: ringing}
	x := jig.Reading{Mode: jig.Pluck}
	switch c.Verb {
	case jig.VerbQuiet:
		x.Mode, w.level = jig.Quiet, 0
	case jig.VerbDrive:
		x.Mode, x.FreqMHz = jig.Driven, c.FreqMHz
		w.tau = math.Inf(1)
		w.level *= around(r, j.scatter.Pluck/4)
	default:
		x.FreqMHz = int64(1000 * j.bench.Strings[i].Freq * around(r, 0.0003))
		w.level *= around(r, j.scatter.Pluck*j.scatter.worn(c.String))
		x.Flags = j.slip(&w, r)
	}
	peak := w.peak()
	limit := float64(j.cfg.FullScaleUV) / 1000
	if peak > limit {
		x.Flags |= jig.Clipped
		w.level *= w.clipped(peak, limit)
	}
	x.RMSUV = microvolts(math.Hypot(w.level, hum))
	x.PeakUV = microvolts(math.Min(peak+3.5*hum, limit))
	x.WindowMS = int64(math.Round(1000 * w.seconds))
	return x
}

// slip makes some takes go wrong, and returns the flags of what the jig notices.
func (j *Jig) slip(w *wave, r *rand.Rand) jig.Flags {
	s := &j.scatter
	switch u := r.Float64(); {
	case u < s.DoubleStrike:
		w.level *= math.Exp(-0.05 - 0.25*r.Float64())
		if r.Float64() < s.Unnoticed {
			return 0
		}
		return jig.DoubleStrike
	case u < s.DoubleStrike+s.ShortWindow:
		whole := w.meanSquare(1, math.Inf(1))
		w.seconds *= 0.3 + 0.5*r.Float64()
		w.level *= math.Sqrt(w.meanSquare(1, math.Inf(1)) / whole)
		return jig.ShortWindow
	case u < s.DoubleStrike+s.ShortWindow+s.Fault:
		w.level *= 0.2 + 0.5*r.Float64()
		return jig.Fault
	}
	return 0
}

func microvolts(millivolts float64) int64 { return int64(math.Round(1000 * millivolts)) }

// wave is the voltage over the window, taken as a sine that dies away.
type wave struct {
	level   float64 // mV RMS over the window
	seconds float64 // length of the window
	tau     float64 // s, decay to 1/e
}

// peak is the amplitude at the start of the window.
func (w wave) peak() float64 { return w.level / math.Sqrt(w.meanSquare(1, math.Inf(1))) }

// clipped is the share of the RMS level that is left when a wave with this peak
// is cut off at the limit.
func (w wave) clipped(peak, limit float64) float64 {
	return math.Sqrt(w.meanSquare(peak, limit) / w.meanSquare(peak, math.Inf(1)))
}

// meanSquare is that of a wave with this peak, cut off at a limit.
func (w wave) meanSquare(peak, limit float64) float64 {
	const slices = 100
	sum := 0.0
	for k := range slices {
		t := w.seconds * (float64(k) + 0.5) / slices
		sum += cutSine(peak*math.Exp(-t/w.tau), limit)
	}
	return sum / slices
}

// cutSine is the mean square of a sine of amplitude a, cut off at a limit.
func cutSine(a, limit float64) float64 {
	if a <= limit {
		return a * a / 2
	}
	from := math.Asin(limit / a)
	below := a * a / 2 * (from - math.Sin(from)*math.Cos(from))
	return (below + limit*limit*(math.Pi/2-from)) * 2 / math.Pi
}
