package main

import (
	"math"
	"math/rand/v2"

	"evenpole/bench/magnetics"
	"evenpole/jig/sim"
	"evenpole/profiles"
)

// solved is the physics of a shop whose levels are computed from what its rods, coils
// and strings are made of.
type solved struct {
	made    *magnetics.World
	bobbins map[float64]*magnetics.Bobbin // by spacing, mm
	ringing float64                       // exponent of pitch by which strings that sound longer are louder
}

func newSolved(r *rand.Rand) *solved {
	return &solved{magnetics.Draw(r), map[float64]*magnetics.Bobbin{}, -0.06 + 0.08*r.NormFloat64()}
}

// pickup magnetises poles, whose remanence is that of the rods' recoil line.
func (s *solved) pickup(poles []sim.Pole, spacing float64) *magnetics.Pickup {
	b, ok := s.bobbins[spacing]
	if !ok {
		b = magnetics.NewBobbin(s.made.Rod, s.made.Coil, spacing)
		s.bobbins[spacing] = b
	}
	var all []magnetics.Pole
	for _, p := range poles {
		all = append(all, magnetics.Pole{Top: p.Height, Strength: p.Remanence / s.made.Rod.Remanence})
	}
	return b.Pickup(all)
}

// levels returns ln v of each string.
func (s *solved) levels(poles []sim.Pole, strings []profiles.String, heights []float64, spacing float64, excite profiles.Excitation) []float64 {
	const scale = 9 // ln mV of a usual coil
	p := s.pickup(poles, spacing)
	var v []float64
	for i, str := range strings {
		hz, err := profiles.Pitch(str.Note)
		if err != nil {
			panic(err)
		}
		x := s.made.String(str.Gauge, str.Core, string(str.Wrap))
		v = append(v, scale+p.Level(x, i, heights[i]+str.Gauge/2)+s.speed(hz, profiles.UnitMass(str), excite))
	}
	return v
}

// speed is ln of a string's velocity beside that of a 200 Hz string of 1 g/m.
func (s *solved) speed(hz, kgPerM float64, excite profiles.Excitation) float64 {
	pitch := math.Log(hz / 200)
	switch excite {
	case profiles.Travel:
		return (1 + s.ringing) * pitch
	case profiles.Force:
		return (s.ringing-1)*pitch - math.Log(1000*kgPerM)
	}
	return 0
}

// probe is the flux density in T, gap mm over each pole.
func (s *solved) probe(poles []sim.Pole, spacing, gap float64) []float64 {
	p := s.pickup(poles, spacing)
	var out []float64
	for i, pole := range poles {
		b := p.Field(i, pole.Height+gap)
		out = append(out, b)
	}
	return out
}
