package sim

import "math"

// vector is a flux density along the strings and up.
type vector struct{ along, up float64 }

// coil is the wire round all poles of a pickup. Its turns are taken as a sheet round a
// rectangle, in the middle of the winding. A coil without width has no field.
type coil struct {
	first, last float64 // mm, x of the outer poles
	aside       float64 // mm from the poles' axes to the sheet
	top, bottom float64 // mm above the bobbin plane
}

// An ordinary single coil: figures of our own choosing.
const (
	turnsPerMetre = 8000 / 0.011 // along the axis
	bobbinHeight  = 11.0         // mm of wire
	flatwork      = 1.0          // mm from the bobbin plane down to the wire
	aside         = 4.4          // mm from the poles' axes to the middle of the wire
)

func newCoil(m Mounted) coil {
	return coil{m.x(0), m.x(len(m.Poles) - 1), aside, -flatwork, -flatwork - bobbinHeight}
}

// at returns the flux density of a current in the coil, beside that in a long coil of as
// many turns per metre.
func (c coil) at(x, y, z float64) vector {
	if c.aside == 0 {
		return vector{}
	}
	upper, lower := c.end(x, y, z-c.top), c.end(x, y, z-c.bottom)
	b := vector{upper.along - lower.along, upper.up - lower.up}
	if z < c.top && z > c.bottom && math.Abs(y) < c.aside && x > c.first-c.aside && x < c.last+c.aside {
		b.up++
	}
	return b
}

// end returns what the coil's upper end adds at a point z above it: the field of an even
// charge on the rectangle, to which 1 is added inside the coil. It is an elementary
// integral of r/r³.
func (c coil) end(x, y, z float64) vector {
	left, right := c.first-c.aside-x, c.last+c.aside-x
	near, far := -c.aside-y, c.aside-y
	length := func(x, y float64) float64 { return math.Sqrt(x*x + y*y + z*z) }
	leftNear, leftFar, rightNear, rightFar := length(left, near), length(left, far), length(right, near), length(right, far)
	along := math.Log((right + rightFar) * (left + leftNear) / ((right + rightNear) * (left + leftFar)))
	up := math.Atan(right*far/(z*rightFar)) + math.Atan(left*near/(z*leftNear)) -
		math.Atan(right*near/(z*rightNear)) - math.Atan(left*far/(z*leftFar))
	return vector{along / (4 * math.Pi), up / (4 * math.Pi)}
}
