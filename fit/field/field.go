// Package field computes the exact magnetic field of a rod magnet and what
// follows from it. It is a leaf: it imports nothing of ours.
//
// A rod is taken as a cylinder magnetised evenly along its axis, with a
// permeability of one. The formula is that of N. Derby and S. Olbert,
// Cylindrical magnets and ideal solenoids, Am. J. Phys. 78, 229 (2010). A real
// rod of a soft grade is weaker than its catalogue says, since it partly
// demagnetises itself: use an effective remanence, as measured at its face.
//
// Lengths are in mm and flux densities in T, though any unit of length will do.
//
// cel.go has the elliptic integral, field.go rods and rows of them, and the charges on a rod's
// faces and side, of which rods that are not evenly magnetised are put together; sides.go tells from
// fields that were measured which magnets are the wrong way round.
package field

import "math"

// Rod is an axially magnetised cylinder. One without radius or length has no
// field.
type Rod struct {
	Radius    float64 // mm
	Length    float64 // mm
	Remanence float64 // T, effective; negative: the south pole is up
}

// At returns the flux density in T at the distance rho >= 0 from the axis and
// z above the upper face, both in mm and finite: brho points away from the
// axis, bz up.
//
// It holds everywhere, inside the rod too. On the side itself, where bz jumps
// by the remanence, bz is the mean of both sides; on the rims brho is infinite
// and bz is again the mean. Far away the field is a small difference: at n rod
// lengths, some 3 log10(n) of the 15 digits are lost.
func (r Rod) At(rho, z float64) (brho, bz float64) {
	if r.Radius <= 0 || r.Length <= 0 || r.Remanence == 0 {
		return 0, 0
	}
	out, up := r.face(rho, z)
	outLow, upLow := r.face(rho, z+r.Length)
	b := r.Remanence / math.Pi
	return b * (outLow - out), b * (upLow - up) * r.Radius / (r.Radius + rho)
}

// Face returns what the upper face adds to the field of a rod of remanence 1 at the distance
// rho >= 0 from the axis and z above the face; the lower face takes the same away. Beside the
// rod and outside its ends this is the field of an even charge on the face, but for half the
// remanence over and under it.
func (r Rod) Face(rho, z float64) (brho, bz float64) {
	out, up := r.face(rho, z)
	return -out / math.Pi, -up / math.Pi * r.Radius / (r.Radius + rho)
}

// Side returns the field of an even charge of 1 T on the rod's side, from the height of the
// upper face down without end, at the distance rho >= 0 from the axis and z above that face,
// but for what is the same at all heights. A charge between two heights has the difference
// of two such fields. A rod whose polarisation changes evenly along it by dJ/dz has a charge
// of -dJ/dz times half its radius there.
//
// Along the rod this is the potential of a ring of charge. Across, the integrands of this
// field and of the face's, weighted by rho and by the radius, add up to that of the ring.
// On the rim bz is infinite.
func (r Rod) Side(rho, z float64) (brho, bz float64) {
	if z == 0 && rho == r.Radius {
		return 0, math.Inf(1)
	}
	d, k, g := r.modulus(rho, z)
	first := cel(k, 1, 1, 1)
	bz = r.Radius / (math.Pi * d) * first
	if rho == 0 {
		return 0, bz
	}
	face := r.Radius / (r.Radius + rho) * (first + jump(k, g))
	return r.Radius / rho * z / (math.Pi * d) * (face - first), bz
}

// face returns what a face contributes at rho and at the height z over it: the
// products of alpha and beta with their integrals, in Derby and Olbert's terms.
//
// Their second integral, C(k, g², 1, g), is split into K(k) and the part that
// jumps at the side (g = 0). As it stands, it loses digits beside that jump.
func (r Rod) face(rho, z float64) (out, up float64) {
	if z == 0 && rho == r.Radius {
		return math.Inf(-1), 0
	}
	d, k, g := r.modulus(rho, z)
	out = r.Radius / d * cel(k, 1, 1, -1)
	up = cel(k, 1, 1, 1) + jump(k, g)
	return out, up * z / d
}

// modulus returns the distance to the far side of a face, the complementary modulus of the
// integrals and Derby and Olbert's gamma, for a point at rho and z over the face.
func (r Rod) modulus(rho, z float64) (d, k, g float64) {
	far, near := r.Radius+rho, r.Radius-rho
	d = math.Hypot(z, far)
	return d, math.Hypot(z, near) / d, near / far
}

// jump is the part of Derby and Olbert's second integral that jumps at the side.
func jump(k, g float64) float64 {
	if g == 0 {
		return 0
	}
	return g * (1 - g) * cel(k, g*g, 0, 1)
}

// OnAxis returns the flux density in T on the axis, z mm above the upper face.
func (r Rod) OnAxis(z float64) float64 {
	if r.Radius <= 0 || r.Length <= 0 {
		return 0
	}
	low := z + r.Length
	return r.Remanence / 2 * (low/math.Hypot(low, r.Radius) - z/math.Hypot(z, r.Radius))
}

// Pole is a rod that stands upright in a pickup.
type Pole struct {
	Rod
	X   float64 // mm, across the strings
	Top float64 // mm, upper face above the bobbin plane
}

// Row is a row of poles at y = 0. Rods with a permeability of one do not
// change each other, so that their fields add up.
type Row []Pole

// At returns the flux density in T at a point in mm: x across the strings, y
// along them, z above the bobbin plane.
func (r Row) At(x, y, z float64) (bx, by, bz float64) {
	for i := range r {
		p := &r[i]
		rho := math.Hypot(x-p.X, y)
		out, up := p.Rod.At(rho, z-p.Top)
		bz += up
		if rho > 0 {
			bx += out * (x - p.X) / rho
			by += out * y / rho
		}
	}
	return bx, by, bz
}
