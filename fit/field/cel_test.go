package field

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
)

// K and E of parameter m = k²: M. Abramowitz, I. Stegun, Handbook of
// Mathematical Functions (1964), tables 17.1 and 17.2, here to the digits of
// the closed forms with the gamma function that m = 1/2 has.
func TestCelAgainstKAndE(t *testing.T) {
	quarter := math.Gamma(0.25)
	k := quarter * quarter / (4 * math.Sqrt(math.Pi))
	e := math.Pi/(4*k) + k/2 // Legendre's relation at m = 1/2
	kc := math.Sqrt(0.5)
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"K(0)", cel(1, 1, 1, 1), math.Pi / 2},
		{"K(1/2)", cel(kc, 1, 1, 1), k},
		{"K(1/2), printed", cel(kc, 1, 1, 1), 1.854074677301372},
		{"E(1/2)", cel(kc, 1, 1, kc*kc), e},
		{"E(1/2), printed", cel(kc, 1, 1, kc*kc), 1.350643881047675},
	} {
		if off(c.got, c.want) > 2e-15 {
			t.Errorf("%s: got %.16f, want %.16f", c.name, c.got, c.want)
		}
	}
}

// The defining integral, done slowly.
func TestCelAgainstQuadrature(t *testing.T) {
	for _, v := range [][4]float64{
		{0.5, 1, 1, -1}, {0.9, 0.3, 0, 1}, {0.3, 2, 1, 0.5}, {0.2, 0.5, -1, 2}, {1, 0.7, 3, 1},
	} {
		kc, p, c, s := v[0], v[1], v[2], v[3]
		want := quad.Fixed(func(phi float64) float64 {
			sin, cos := math.Sincos(phi)
			sin2, cos2 := sin*sin, cos*cos
			return (c*cos2 + s*sin2) / ((cos2 + p*sin2) * math.Sqrt(cos2+kc*kc*sin2))
		}, 0, math.Pi/2, 200, nil, 0)
		if got := cel(kc, p, c, s); off(got, want) > 1e-13 {
			t.Errorf("cel(%v): got %.15g, want %.15g", v, got, want)
		}
	}
}

func TestCelEndsOnNaN(t *testing.T) {
	if got := cel(math.NaN(), 1, 1, 1); !math.IsNaN(got) {
		t.Errorf("got %g, want NaN", got)
	}
}
