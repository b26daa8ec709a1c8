package soundtest

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
)

// Pluck is a string that is let go. Partial n of an ideal string that is pulled aside at
// the share b of its length has the displacement sin(nπb) / (n² π² b (1−b)); a pickup at the
// share d senses its velocity, n·sin(nπd) times that (N. Fletcher, T. Rossing, The Physics
// of Musical Instruments, 2nd ed., 1998, chapter 2). Stiffness raises partial n to
// n·f·√(1 + B n²); damping grows with the frequency (section 2.12).
type Pluck struct {
	At     float64 // s
	String int     // 1 is the first; for the truth alone
	Freq   float64 // Hz
	Level  float64 // amplitude of the fundamental, share of full scale
	Place  float64 // b, share of the length
	Pickup float64 // d
	Stiff  float64 // B
	Decay  float64 // s, of the fundamental to 1/e
	Bright float64 // how many times faster partial n dies away: 1 + Bright·(n−1)
	Drift  float64 // cents by which it begins sharp, dying away in 0.1 s
	Buzz   float64 // share of the level that a rattle adds while the string is loud
	Stop   float64 // s after At when a hand stops it; 0: never
	Scrape float64 // share of the level of the pick's noise before and at the release
}

// partials that a string has.
const partials = 25

// Add adds the pluck to sound.
func (p *Pluck) Add(x []float64, rate int, r *rand.Rand) {
	begin := min(len(x), int(math.Ceil(p.At*float64(rate))))
	own := make([]float64, len(x)-begin)
	if p.Stop > 0 { // and what it then takes to fall silent
		own = own[:min(len(own), int((p.Stop+0.1)*float64(rate)))]
	}
	late := float64(begin)/float64(rate) - p.At
	for n := 1.0; n <= partials; n++ {
		hz := n * p.Freq * math.Sqrt(1+p.Stiff*n*n)
		if hz > 0.45*float64(rate) {
			break
		}
		a := math.Sin(n*math.Pi*p.Place) / (n * math.Sin(math.Pi*p.Place)) * math.Sin(n*math.Pi*p.Pickup) / math.Sin(math.Pi*p.Pickup) * p.Level
		split, share := 0.15+0.3*r.Float64(), 0.1*r.Float64() // the two directions in which a string swings
		tau := p.Decay / (1 + p.Bright*(n-1))
		p.addMode(own, float64(rate), late, hz, (1-share)*a, tau)
		p.addMode(own, float64(rate), late, hz+split, share*a, tau)
	}
	p.rattle(own, r)
	for i := range own {
		if t := float64(i) / float64(rate); p.Stop > 0 && t > p.Stop {
			own[i] *= math.Exp(-(t - p.Stop) / 0.006)
		}
	}
	p.scrape(x, begin, rate, r)
	for i, v := range own {
		x[begin+i] += v
	}
}

// addMode adds a sine that dies away with tau; it begins late seconds before the first
// sample, and sharp by the pluck's drift.
func (p *Pluck) addMode(x []float64, rate, late, hz, a, tau float64) {
	const stretch = 64 // samples in which the pitch stays
	omega := complex(-1/tau, 2*math.Pi*hz) / complex(rate, 0)
	z := complex(a, 0) * cmplx.Exp(omega*complex(late*rate, 0))
	var turn complex128
	for i := range x {
		if i%stretch == 0 {
			sharp := math.Pow(2, p.Drift*math.Exp(-float64(i)/rate/0.1)/1200)
			turn = cmplx.Exp(complex(real(omega), sharp*imag(omega)))
		}
		x[i] += imag(z)
		z *= turn
	}
}

// rattle adds the noise of a string that hits something at its widest.
func (p *Pluck) rattle(own []float64, r *rand.Rand) {
	if p.Buzz == 0 {
		return
	}
	ring := 0.0
	for i, v := range own {
		if v > 0.7*p.Level {
			ring = v
		}
		own[i] += p.Buzz * ring * r.NormFloat64()
		ring *= 0.97
	}
}

// scrape adds the pick on the string: noise that rises until the release and ends soon.
func (p *Pluck) scrape(x []float64, begin, rate int, r *rand.Rand) {
	for i := max(0, begin-rate/50); i < min(len(x), begin+rate/100); i++ {
		t := float64(i-begin) / float64(rate)
		x[i] += p.Scrape * p.Level * r.NormFloat64() * math.Exp(-math.Abs(t)/0.003)
	}
}
