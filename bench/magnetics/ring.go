package magnetics

import "math"

// ring is a circle about a rod's axis at the height z, evenly charged.
type ring struct{ radius, z float64 }

// field is the flux density, outwards and upwards, of a unit charge on the ring at
// the distance rho from the axis and the height z.
func (r ring) field(rho, z float64) (out, up float64) {
	dz := z - r.z
	if rho < 1e-9 || r.radius < 1e-9 {
		return point(rho+r.radius, dz)
	}
	near2 := (r.radius-rho)*(r.radius-rho) + dz*dz // squares of the least and greatest distance
	far2 := near2 + 4*r.radius*rho
	k, e := elliptic(math.Sqrt(near2 / far2))
	scale := 1 / (2 * math.Pi * math.Pi * math.Sqrt(far2))
	e /= near2
	return scale / (2 * rho) * (k - e*(r.radius*r.radius-rho*rho+dz*dz)), scale * dz * e
}

// elliptic returns the complete elliptic integrals of the first and second kind by the
// arithmetic-geometric mean, for the complementary modulus kc (Abramowitz and Stegun,
// Handbook of Mathematical Functions, 17.6).
func elliptic(kc float64) (k, e float64) {
	a, b := 1.0, kc
	power, sum := 0.5, 0.5*(1-kc*kc)
	for math.Abs(a-b) > 1e-7*a { // converges quadratically
		c := (a - b) / 2
		a, b = (a+b)/2, math.Sqrt(a*b)
		power *= 2
		sum += power * c * c
	}
	k = math.Pi / (a + b)
	return k, k * (1 - sum)
}

// point is the flux density of a unit charge on an axis, at the distance rho from
// the axis and dz over the charge.
func point(rho, dz float64) (out, up float64) {
	d2 := rho*rho + dz*dz
	s := 1 / (4 * math.Pi * d2 * math.Sqrt(d2))
	return rho * s, dz * s
}
