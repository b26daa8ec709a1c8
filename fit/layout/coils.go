package layout

import "math"

// coils is the signal of two rows of poles over which a string moves.
type coils struct {
	motion
	adds bool
}

// level is ln of the RMS of both coils' signals together, less what they are where both
// are as loud as a single one: f and g are ln v of the string over the first row and over
// the second, if it moved over each as over the first.
func (c *coils) level(f, g float64) float64 {
	return 0.5*math.Log(c.power(g-f)/c.power(0)) + f
}

// power is the mean square of both signals by that of the first, where the second row is
// louder by so much.
func (c *coils) power(louder float64) float64 {
	b := c.gain * math.Exp(louder)
	sign := 1.0
	if !c.adds {
		sign = -1
	}
	return max(1+2*sign*c.alike*b+b*b, 1e-6)
}

// share is how much ln v rises with that of the second row, 0 to 1 where they add up.
func (c *coils) share(f, g float64) float64 {
	const h = 1e-4
	return (c.level(f, g+h) - c.level(f, g-h)) / (2 * h)
}
