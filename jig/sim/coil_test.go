package sim

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
)

// wound is the field of a coil's sheet, turn by turn and piece by piece of wire, after
// Biot and Savart.
func wound(c coil, x, y, z float64) vector {
	left, right := c.first-c.aside, c.last+c.aside
	corners := [5][2]float64{{left, -c.aside}, {right, -c.aside}, {right, c.aside}, {left, c.aside}, {left, -c.aside}}
	turn := func(height float64) (v vector) {
		for k := range 4 {
			a, b := corners[k], corners[k+1]
			dx, dy := b[0]-a[0], b[1]-a[1]
			piece := func(up bool) float64 {
				return quad.Fixed(func(u float64) float64 {
					rx, ry, rz := x-a[0]-u*dx, y-a[1]-u*dy, z-height
					r := math.Sqrt(rx*rx + ry*ry + rz*rz)
					if up {
						return (dx*ry - dy*rx) / (r * r * r)
					}
					return -dx * rz / (r * r * r)
				}, 0, 1, 200, nil, 0)
			}
			v.along, v.up = v.along+piece(false)/(4*math.Pi), v.up+piece(true)/(4*math.Pi)
		}
		return v
	}
	return vector{
		quad.Fixed(func(h float64) float64 { return turn(h).along }, c.bottom, c.top, 60, nil, 0),
		quad.Fixed(func(h float64) float64 { return turn(h).up }, c.bottom, c.top, 60, nil, 0),
	}
}

func TestCoilByBiotSavart(t *testing.T) {
	c := coil{-12, 25, 4.4, -1, -12}
	for _, at := range [][3]float64{{0, 0, 2}, {-12, 0, 0.5}, {25, 3, 4}, {3, 9, 2}, {5, -6, -5}, {5, 0.5, -1.5}, {-10, 1, -7}, {0, 0, -14}, {40, 12, 3}} {
		got, want := c.at(at[0], at[1], at[2]), wound(c, at[0], at[1], at[2])
		if math.Abs(got.along-want.along) > 1e-6 || math.Abs(got.up-want.up) > 1e-6 {
			t.Errorf("at %g: %+v, want %+v", at, got, want)
		}
	}
	if inside := (coil{aside: 1, top: 1e3, bottom: -1e3}).at(0.3, 0.2, 5); math.Abs(inside.up-1) > 1e-6 || math.Abs(inside.along) > 1e-6 {
		t.Errorf("in a long coil: %+v, want 1 upwards", inside)
	}
}
