package layout

import "math"

// sheet is a flat face, evenly charged: half of it long across the strings, half of it
// thick along them.
type sheet struct{ half, thick float64 }

// along is its field along the strings at a point across, along and above its middle, in
// units of the charge: the integral of y/r^3 over the face, in closed form.
func (s sheet) along(x, y, z float64) float64 {
	corner := func(u, w float64) float64 {
		r := math.Sqrt(u*u + w*w + z*z)
		return math.Log(u + r)
	}
	return corner(x+s.half, y-s.thick) - corner(x-s.half, y-s.thick) - corner(x+s.half, y+s.thick) + corner(x-s.half, y+s.thick)
}
