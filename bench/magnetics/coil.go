package magnetics

import "math"

// Coil is wound round the row of poles: straight along both sides, half a circle
// round either end. Round one pole it is a circle.
type Coil struct {
	Inner, Outer float64 // mm from the poles' axes
	Top, Bottom  float64 // mm under the bobbin plane
}

// wire is a straight piece of a loop, from a to b.
type wire struct{ a, b [3]float64 }

// The winding's cross-section is taken at so many loops.
const (
	layers = 3
	floors = 4
	bends  = 5 // pieces of each half circle
)

// wires are the loops of a coil round poles from -half to half.
func (c Coil) wires(half float64) []wire {
	var out []wire
	for l := range layers {
		r := c.Inner + (c.Outer-c.Inner)*(float64(l)+0.5)/layers
		for f := range floors {
			z := -c.Top - (c.Bottom-c.Top)*(float64(f)+0.5)/floors
			out = append(out, loop(half, r, z)...)
		}
	}
	return out
}

// loop is one turn, at the height z. Its bends have the area of half circles.
func loop(half, r, z float64) []wire {
	r *= math.Sqrt(math.Pi / bends / math.Sin(math.Pi/bends))
	var corners [][3]float64
	for side := range 2 {
		middle := half * float64(1-2*side)
		for k := range bends + 1 {
			sin, cos := math.Sincos(math.Pi*(float64(k)/bends+float64(side)) - math.Pi/2)
			corners = append(corners, [3]float64{middle + r*cos, r * sin, z})
		}
	}
	var out []wire
	for k, a := range corners {
		if b := corners[(k+1)%len(corners)]; a != b {
			out = append(out, wire{a, b})
		}
	}
	return out
}

// field adds the field of a unit current in the wire at a point (Biot and Savart).
func (w *wire) field(sum, p *[3]float64) {
	var a, b, d [3]float64
	for k := range p {
		a[k], b[k], d[k] = p[k]-w.a[k], p[k]-w.b[k], w.b[k]-w.a[k]
	}
	ra, rb := math.Sqrt(dot(&a, &a)), math.Sqrt(dot(&b, &b))
	s := (ra + rb) / (4 * math.Pi * ra * rb * (ra*rb + dot(&a, &b)))
	sum[0] += s * (d[1]*a[2] - d[2]*a[1])
	sum[1] += s * (d[2]*a[0] - d[0]*a[2])
	sum[2] += s * (d[0]*a[1] - d[1]*a[0])
}

func dot(a, b *[3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
