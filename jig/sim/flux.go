package sim

import (
	"math"
)

// reach is the length in mm over which a pole's field along the string holds
// its sign; a core is magnetised as a needle of that length.
const reach = 12.0

// core returns the polarisation in T, along the string and across it, of a core
// in a field of these components. Along, the ends of the needle weaken it and it
// saturates, after Langevin's function; across, the factor is one half.
func (s String) core(of Steel, along, across float64) (ja, jc float64) {
	weakening := needle(s.Core) + 1/of.Permeability
	return saturating(along/weakening, of.Saturation), 2 * across
}

// needle is the demagnetising factor of a needle of a diameter, mm: that of a long
// ellipsoid (J. Osborn, Phys. Rev. 67, 351 (1945), from memory).
func needle(diameter float64) float64 {
	slim := diameter / reach
	return slim * slim * (math.Log(2/slim) - 1)
}

// turns returns the same of the wrap. Along the string flux goes from turn to turn, where
// they touch: the ring is a needle, too, of the permeability that its turns leave it. Across,
// cylinders side by side are worth 2 f d, with f the share that they fill and
// d = (mu - 1) / (mu + 1).
func (s String) turns(along, across float64) (ja, jc float64) {
	m := s.wrap()
	if m.ring == 0 {
		return 0, 0
	}
	weakening := needle(s.Gauge) + 1/(m.ring-1)
	d := (m.permeability - 1) / (m.permeability + 1)
	return saturating(along/weakening, packing*m.saturation), 2 * packing * d * across
}

// saturating bends a polarisation that would grow for ever, by Langevin's
// function coth x − 1/x, which starts as x/3.
func saturating(j, limit float64) float64 {
	if limit == 0 {
		return 0
	}
	x := 3 * j / limit
	if math.Abs(x) < 1e-3 {
		return j
	}
	return limit * (1/math.Tanh(x) - 1/x)
}

// pickup is the field of the magnets, and that of a current in the coil: by
// reciprocity, what the coil sees of a piece of magnetised steel is in
// proportion to the field that a current in the coil makes there.
type pickup struct {
	x     []float64 // mm, of the strings
	tops  []float64 // mm, of the poles
	rods  rods
	coil  coil
	gain  float64 // turns per metre
	steel Steel   // of the strings' cores
}

func newPickup(m Mounted) *pickup { return newPickupIn(newCoil(m), m, nodes) }

// newPickupIn returns the poles in a coil, with their polarisation told at these nodes.
func newPickupIn(c coil, m Mounted, nodes []float64) *pickup {
	p := &pickup{rods: newRods(m, nodes, c), coil: c, gain: turnsPerMetre * m.Coil, steel: m.Steel}
	for i, pole := range m.Poles {
		p.x = append(p.x, m.x(i))
		p.tops = append(p.tops, pole.Height)
	}
	return p
}

// fields returns the flux density in T of the magnets at a probe over each pole, mm over it.
func (p *pickup) fields(gap float64) []float64 {
	var all []float64
	for i, x := range p.x {
		b, _ := p.rods.at(x, 0, p.tops[i]+gap)
		all = append(all, b.up)
	}
	return all
}

// The flux is integrated along the string by Simpson's rule, on one side of the
// pole: the other is the same.
const (
	span  = 24.0 // mm
	steps = 48   // even
)

// flux returns what a string with its axis at the height z (mm) sends through
// the coil, in Wb.
func (p *pickup) flux(s String, x, z float64) float64 {
	sum := 0.0
	for k := range steps + 1 {
		weight := float64(2 + 2*(k%2))
		if k == 0 || k == steps {
			weight = 1
		}
		sum += weight * p.density(s, x, span*float64(k)/steps, z)
	}
	const bothSides, perMetre = 2, 1e-9 // mm² mm
	return bothSides * sum * span / steps / 3 * perMetre * p.gain
}

// density is the flux per mm of string, but for constants: polarisation (T)
// times area (mm²) times the coil's field.
func (p *pickup) density(s String, x, y, z float64) float64 {
	magnets, iron := p.rods.at(x, y, z)
	coil := p.coil.at(x, y, z)
	coil.along, coil.up = coil.along+iron.along, coil.up+iron.up
	ja, jc := s.core(p.steel, magnets.along, magnets.up)
	sum := area(s.Core) * (ja*coil.along + jc*coil.up)
	if ring := s.wrapArea(); ring > 0 {
		ja, jc = s.turns(magnets.along, magnets.up)
		sum += ring * (ja*coil.along + jc*coil.up)
	}
	return sum
}

// level returns the RMS voltage in mV of string i with its underside at height
// (mm) above the bobbin plane. It cannot be lower than the pole that it touches.
func (p *pickup) level(s String, i int, height float64, w swing) float64 {
	z := math.Max(height, p.tops[i]) + s.Gauge/2
	slope := p.slope(s, p.x[i], z, math.Min(0.5, (z-p.tops[i])/4))
	return 1000 * w.velocity * slope.rms(math.Sqrt2*w.travel) * 1000
}

// slope is the change of flux with height about the rest position, in Wb/mm, as
// a cubic in mm.
type slope [4]float64

// slope differentiates the quartic through five fluxes that lie h apart.
func (p *pickup) slope(s String, x, z, h float64) slope {
	var f [5]float64
	for k := range f {
		f[k] = p.flux(s, x, z+float64(k-2)*h)
	}
	odd1, odd2 := f[3]-f[1], f[4]-f[0]
	even1, even2 := f[3]+f[1]-2*f[2], f[4]+f[0]-2*f[2]
	return slope{
		(8*odd1 - odd2) / (12 * h),
		(16*even1 - even2) / (12 * h * h),
		(odd2 - 2*odd1) / (4 * h * h * h),
		(even2 - 4*even1) / (6 * h * h * h * h),
	}
}

// rms is the slope that counts for a string that swings as a sine of this
// amplitude (mm): its root mean square, weighted by the velocity squared.
func (s slope) rms(amplitude float64) float64 {
	const phases = 16
	sum := 0.0
	for k := range phases {
		sin, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.5) / phases)
		u := amplitude * sin
		v := s[0] + u*(s[1]+u*(s[2]+u*s[3]))
		sum += 2 * v * v * cos * cos
	}
	return math.Sqrt(sum / phases)
}
