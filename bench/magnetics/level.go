package magnetics

import "math"

// Level is ln of the change of the coil's flux with the height of a string that lies
// over pole i, with its axis at the height z. The scale is arbitrary.
//
// By reciprocity, the flux of a piece of the string is its polarisation times the field
// that a unit current in the coil makes there. It changes as that field does from height
// to height, and as the polarisation does.
func (p *Pickup) Level(s *String, i int, z float64) float64 {
	const h = 0.05 // mm
	b := newBody(s)
	up, down := p.along(b, i, z+h), p.along(b, i, z-h)
	here, change := make([]float64, len(b.y)), make([]float64, len(b.y))
	for k := range change {
		here[k] = (up.magnet[k] + down.magnet[k]) / 2
		change[k] = (up.magnet[k] - down.magnet[k]) / (2 * h)
	}
	st := b.magnetise(here)
	inside := b.respond(st.core.small, st.wrap.small, change)
	core := math.Pi / 4 * s.Core * s.Core
	ring := math.Pi/4*s.Gauge*s.Gauge - core
	across := 2*core + ring*s.wrapAcross()
	sum := 0.0
	for k, y := range b.length {
		still := core*st.core.j[k] + ring*st.wrap.j[k]
		moved := (core*st.core.small[k] + ring*st.wrap.small[k]) * inside[k]
		sum += y * (still*(up.coil[k]-down.coil[k])/(2*h) + moved*(up.coil[k]+down.coil[k])/2 + across*(up.across[k]-down.across[k])/(2*h))
	}
	return math.Log(math.Abs(2 * sum))
}

// wrapAcross is the ring's polarisation across the string by the field there: turns side
// by side let through less than a full ring's 2.
func (s *String) wrapAcross() float64 {
	if s.Wrap.Saturation <= 0 {
		return 0
	}
	return 1.5
}

// line is the field along a string's axis: of the magnets and of a unit current in the
// coil along the string, and the product of both across it.
type line struct{ magnet, coil, across []float64 }

func (p *Pickup) along(b *body, i int, z float64) (l line) {
	for _, y := range b.y {
		m, c := p.At(p.x[i], y, z)
		l.magnet = append(l.magnet, m[1])
		l.coil = append(l.coil, c[1])
		l.across = append(l.across, m[0]*c[0]+m[2]*c[2])
	}
	return l
}
