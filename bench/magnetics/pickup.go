package magnetics

import "math"

// Pole is a rod as it stands in a pickup.
type Pole struct {
	Top      float64 // mm, over the bobbin plane
	Strength float64 // of its remanence, relative to that of the rod
}

// Bobbin is what pickups of one make have in common: the rod and the coil. Poles
// stand Spacing apart.
type Bobbin struct {
	Rod     Rod
	Coil    Coil
	Spacing float64 // mm

	surface *surface
}

// NewBobbin prepares a bobbin for any number of pickups.
func NewBobbin(r Rod, c Coil, spacing float64) *Bobbin {
	return &Bobbin{r, c, spacing, newSurface(r)}
}

// Pickup is a bobbin with its poles.
type Pickup struct {
	bobbin *Bobbin
	poles  []Pole
	x      []float64   // mm, of each pole
	magnet [][]float64 // charges of each pole's bands by its magnetisation, T mm²
	iron   [][]float64 // charges that a unit current in the coil makes on them
	wires  []wire
}

// couplings is how often poles are magnetised by each other's last charges: each time
// what is left falls to some hundredth.
const couplings = 3

// Pickup magnetises poles, that of string 1 first.
func (b *Bobbin) Pickup(poles []Pole) *Pickup {
	p := &Pickup{bobbin: b, poles: poles}
	half := b.Spacing * float64(len(poles)-1) / 2
	for i := range poles {
		p.x = append(p.x, b.Spacing*float64(i)-half)
	}
	p.wires = b.Coil.wires(half)
	outside := make([][]float64, len(poles)) // the coil's normal field on each band
	for i := range poles {
		outside[i] = p.coilOn(i)
	}
	p.magnet, p.iron = p.charges(nil), p.charges(outside)
	return p
}

// charges solves for all poles' charges: by their own magnetisation, or by a field from
// outside.
func (p *Pickup) charges(outside [][]float64) [][]float64 {
	s := p.bobbin.surface
	n := len(s.elements)
	own := make([][]float64, len(p.poles))
	for i := range own {
		if outside != nil {
			own[i] = multiply(s, outside[i])
			continue
		}
		own[i] = make([]float64, n)
		for k, q := range s.own {
			own[i][k] = q * p.bobbin.Rod.Remanence * p.poles[i].Strength
		}
	}
	if p.bobbin.Rod.Permeability == 1 {
		return own
	}
	now := own
	for range couplings {
		next := make([][]float64, len(own))
		for i := range own {
			next[i] = multiply(s, p.neighboursOn(i, now))
			for k := range next[i] {
				next[i][k] += own[i][k]
			}
		}
		now = next
	}
	return now
}

// multiply is how a rod answers to a normal field on its bands.
func multiply(s *surface, field []float64) []float64 {
	out := make([]float64, len(field))
	for i := range out {
		row := s.answer.RawRowView(i)
		for k, b := range field {
			out[i] += row[k] * b
		}
	}
	return out
}

// around are the directions over which a field on a band is averaged, a quarter turn's.
var around = [...]float64{math.Pi / 12, math.Pi / 4, 5 * math.Pi / 12}

// coilOn is the coil's mean normal field on each band of pole i.
func (p *Pickup) coilOn(i int) []float64 {
	out := make([]float64, len(p.bobbin.surface.elements))
	for k, e := range p.bobbin.surface.elements {
		for turn := range 4 {
			for _, quarter := range around {
				sin, cos := math.Sincos(quarter + float64(turn)*math.Pi/2)
				at := [3]float64{p.x[i] + e.radius*cos, e.radius * sin, p.poles[i].Top + e.z}
				var h [3]float64
				for w := range p.wires {
					p.wires[w].field(&h, &at)
				}
				out[k] += (e.out*(h[0]*cos+h[1]*sin) + e.up*h[2]) / (4 * float64(len(around)))
			}
		}
	}
	return out
}

// neighboursOn is the other poles' mean normal field on each band of pole i. From as far
// away as a neighbour, a band's charge is as good as on its axis.
func (p *Pickup) neighboursOn(i int, charges [][]float64) []float64 {
	out := make([]float64, len(p.bobbin.surface.elements))
	for j, all := range charges {
		if j == i {
			continue
		}
		away := math.Abs(p.x[j] - p.x[i])
		for k, e := range p.bobbin.surface.elements {
			for turn := range 2 { // the other half is the same
				for _, quarter := range around {
					sin, cos := math.Sincos(quarter + float64(turn)*math.Pi/2)
					x, y := away+e.radius*cos, e.radius*sin
					rho := math.Hypot(x, y)
					var sumOut, sumUp float64
					for l, q := range all {
						o, u := point(rho, p.poles[i].Top+e.z-p.poles[j].Top-p.bobbin.surface.elements[l].z)
						sumOut, sumUp = sumOut+q*o, sumUp+q*u
					}
					out[k] += (e.out*sumOut*(x*cos+y*sin)/rho + e.up*sumUp) / (2 * float64(len(around)))
				}
			}
		}
	}
	return out
}

// At is the flux density of the magnets, and the field of a unit current in the coil
// with what it makes of the poles, both along x, y and z, over the poles.
func (p *Pickup) At(x, y, z float64) (magnet, coil [3]float64) {
	at := [3]float64{x, y, z}
	for w := range p.wires {
		p.wires[w].field(&coil, &at)
	}
	for i := range p.poles {
		dx := x - p.x[i]
		rho := math.Hypot(dx, y)
		near := rho < 0.7*p.bobbin.Spacing
		var m, c [2]float64
		for k, e := range p.bobbin.surface.elements {
			var out, up float64
			if dz := z - p.poles[i].Top; near {
				out, up = e.field(rho, dz)
			} else {
				out, up = point(rho, dz-e.z)
			}
			m[0], m[1] = m[0]+out*p.magnet[i][k], m[1]+up*p.magnet[i][k]
			c[0], c[1] = c[0]+out*p.iron[i][k], c[1]+up*p.iron[i][k]
		}
		if rho > 0 {
			magnet[0], magnet[1] = magnet[0]+m[0]*dx/rho, magnet[1]+m[0]*y/rho
			coil[0], coil[1] = coil[0]+c[0]*dx/rho, coil[1]+c[0]*y/rho
		}
		magnet[2] += m[1]
		coil[2] += c[1]
	}
	return magnet, coil
}

// Field is the magnets' flux density along the axis of pole i, at the height z over the
// bobbin plane.
func (p *Pickup) Field(i int, z float64) float64 {
	magnet, _ := p.At(p.x[i], 0, z)
	return magnet[2]
}
