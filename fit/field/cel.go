package field

import "math"

// celTolerance ends the iteration. It converges quadratically: what is left is
// of the order of its square.
const celTolerance = 1e-8

// cel is Bulirsch's generalised complete elliptic integral for kc != 0, p > 0,
//
//	∫ (c cos² + s sin²) / ((cos² + p sin²) √(cos² + kc² sin²)) dφ, φ from 0 to π/2,
//
// by Bartky's transformation. R. Bulirsch, Numerical Calculation of Elliptic
// Integrals and Elliptic Functions, Numer. Math. 7, 78 (1965) and III,
// Numer. Math. 13, 305 (1969), as given by Derby and Olbert.
func cel(kc, p, c, s float64) float64 {
	root := math.Sqrt(p)
	s /= root
	mean, product := 1.0, kc
	for {
		g := product / root
		c, s = c+s/root, 2*(s+c*g)
		root += g
		last := mean
		mean += kc
		if math.Abs(last-kc) <= last*celTolerance || math.IsNaN(kc) {
			return math.Pi / 2 * (s + c*mean) / (mean * (mean + root))
		}
		kc = 2 * math.Sqrt(product)
		product = kc * mean
	}
}
