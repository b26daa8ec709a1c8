package sim

import (
	"math"

	"evenpole/jig"
)

// How the jig sets strings moving, and for how long it listens. Figures of our
// own choosing.
const (
	pluckShare    = 0.2 // plucking place, as a share of the scale length from the bridge
	pluckTravel   = 1.0 // mm, release
	pluckForce    = 0.8 // N, release
	driveVelocity = 0.2 // m/s RMS over the pickup
	modes         = 8   // partials that are still heard
	ringing       = 0.4 // s, decay of the fundamental to 1/e; partial n has an n-th of it
	window        = 0.5 // s
)

// swing is how a string moves over the pickup: RMS over the window.
type swing struct {
	velocity float64 // m/s
	travel   float64 // mm
}

// swing follows the ideal plucked string: N. Fletcher, T. Rossing, The Physics
// of Musical Instruments, 2nd ed. (1998), chapter 2, from memory. For a release
// h at the share b of the length, partial n has the displacement
// 2h sin(n π b) / (n² π² b (1−b)), times sin(n π x / L) at the place x.
func (s String) swing(how jig.Excite, scale, place float64) swing {
	omega := 2 * math.Pi * s.Freq
	if how == jig.Drive {
		return swing{velocity: driveVelocity, travel: driveVelocity / omega * 1000}
	}
	const b = pluckShare
	h := pluckTravel
	if how == jig.Force {
		h = pluckForce * scale * b * (1 - b) / s.tension(scale)
	}
	var v2, u2 float64
	for n := 1.0; n <= modes; n++ {
		u := 2 * h * math.Sin(n*math.Pi*b) / (n * n * math.Pi * math.Pi * b * (1 - b)) * math.Sin(n*math.Pi*place/scale)
		v := u / 1000 * n * omega
		heard := meanSquare(ringing/n, window)
		v2 += v * v * heard
		u2 += u * u * heard
	}
	return swing{math.Sqrt(v2), math.Sqrt(u2)}
}

// meanSquare is that of a sine of amplitude 1 that decays with tau, over d.
func meanSquare(tau, d float64) float64 {
	return -math.Expm1(-2*d/tau) * tau / (4 * d)
}

// tension in N of the string at its pitch, T = 4 L² f² mass per length, for a
// scale length in mm.
func (s String) tension(scale float64) float64 {
	v := 2 * scale / 1000 * s.Freq
	return v * v * s.mass()
}

// mass in kg/m: a core and the turns round it, as close as round wire lies.
func (s String) mass() float64 {
	return 1e-6 * (steel.density*area(s.Core) + s.wrap().density*packing*s.wrapArea())
}

// area of a circle of diameter d.
func area(d float64) float64 { return math.Pi / 4 * d * d }

// wrapArea is the ring in mm² that the turns fill.
func (s String) wrapArea() float64 { return area(s.Gauge) - area(s.Core) }

// String is a string as it is on the jig.
type String struct {
	Gauge float64 // mm, overall diameter
	Core  float64 // mm, diameter of the steel core; 0: Gauge
	Wrap  string  // of the wound part; a name that is not known is not magnetic
	Freq  float64 // Hz, sounding pitch; 0: 220
}

// Steel is how a core magnetises. Steel that does so easily, or saturates early, does
// so in thin strings near a pole first: their level falls more gently with the gap.
type Steel struct {
	Permeability float64 // relative, at low field; 0: 100
	Saturation   float64 // T; 0: 2
}

// material is what a wire is made of. Densities and saturation are handbook
// values from memory (B. Cullity, C. Graham, Introduction to Magnetic
// Materials); permeabilities are of our own choosing.
type material struct {
	density      float64 // kg/m³
	saturation   float64 // T
	permeability float64 // relative, at low field
	ring         float64 // relative, along the string, of a wrap of such wire; 0: not magnetic
}

var (
	steel = material{7850, 2.0, 100, 0}
	wraps = map[string]material{
		"nickel":              {8900, 0.61, 80, 5},
		"nickel_plated_steel": {7850, 2.0, 100, 14},
		"stainless":           {7700, 1.5, 40, 9},
		"bronze":              {8800, 0, 1, 0},
	}
	nonMagnetic = material{8500, 0, 1, 0}
)

// packing is how much of the ring round the core round wire can fill.
const packing = math.Pi / 4

func (s String) wrap() material {
	if m, ok := wraps[s.Wrap]; ok {
		return m
	}
	return nonMagnetic
}

// actual is the string that came out of the packet. The same one is there in
// each mounting.
func (s String) actual(seed uint64, slot int, sd float64) String {
	wound := s.Core != 0 && s.Core < s.Gauge
	factor := around(source(seed, "string", slot, s), sd)
	if !wound {
		s.Gauge *= factor
		s.Core, s.Wrap = s.Gauge, ""
	} else {
		s.Core = math.Min(s.Core*factor, s.Gauge)
	}
	setDefault(&s.Freq, 220)
	return s
}
