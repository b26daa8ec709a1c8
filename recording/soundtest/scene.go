package soundtest

import (
	"math"
	"math/rand/v2"
)

// Scene is a recording: plucks, and what else is heard.
type Scene struct {
	Rate    int
	Seconds float64
	Plucks  []Pluck
	Hum     float64   // amplitude of the mains, share of full scale
	Mains   float64   // Hz; 0: 50
	Noise   float64   // RMS, share of full scale
	Offset  float64   // of the input, share of full scale
	Knocks  []float64 // s, when something is knocked
	Knock   float64   // amplitude
	Clip    float64   // level at which something before the file cuts off; 0: nothing does
}

// Sound is the recording, before it is stored.
func (s *Scene) Sound(r *rand.Rand) []float64 {
	x := make([]float64, int(s.Seconds*float64(s.Rate)))
	for i := range s.Plucks {
		s.Plucks[i].Add(x, s.Rate, r)
	}
	for _, at := range s.Knocks {
		s.knock(x, at, r)
	}
	mains := s.Mains
	if mains == 0 {
		mains = 50
	}
	for i := range x {
		t := 2 * math.Pi * mains * float64(i) / float64(s.Rate)
		x[i] += s.Hum*(0.6*math.Sin(t)+0.3*math.Sin(2*t+1)+0.4*math.Sin(3*t+2)+0.1*math.Sin(7*t)) + s.Noise*r.NormFloat64() + s.Offset
		if s.Clip > 0 {
			x[i] = max(-s.Clip, min(s.Clip, x[i]))
		}
	}
	return x
}

// knock adds a thump against the instrument, which has no pitch.
func (s *Scene) knock(x []float64, at float64, r *rand.Rand) {
	low := 0.0
	for i := int(at * float64(s.Rate)); i < len(x); i++ {
		t := float64(i)/float64(s.Rate) - at
		if t > 0.2 {
			return
		}
		low += 0.05 * (r.NormFloat64() - low)
		x[i] += s.Knock * (4*low*math.Exp(-t/0.03) + 0.3*r.NormFloat64()*math.Exp(-t/0.004))
	}
}
