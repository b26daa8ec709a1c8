package layout

import (
	"math"

	"evenpole/fit/curve"
	"evenpole/fit/field"
)

// The usual pole, where an order does not say (common practice).
const (
	usualDiameter = curve.UsualPole // mm
	usualLength   = 16.0            // mm
	usualBlade    = 3.2             // mm, thickness
)

// source is what makes the field over a string: its strength along the string at so much
// along it and so much above the poles' tops.
type source func(y, z float64) float64

// poleAt is a pole that stands so far to the side.
func poleAt(diameter, across float64) source {
	r := field.Rod{Radius: diameter / 2, Length: usualLength, Remanence: 1}
	return func(y, z float64) float64 {
		rho := math.Hypot(across, y)
		if rho == 0 {
			return 0
		}
		out, _ := r.At(rho, z)
		return out * y / rho
	}
}

// bladeAt is a blade from one end to the other across the pickup, under a string.
func bladeAt(thickness, from, to, at float64) source {
	s, x := sheet{(to - from) / 2, thickness / 2}, at-(from+to)/2
	return func(y, z float64) float64 { return s.along(x, y, z) - s.along(x, y, z+usualLength) }
}

// together is the field of several sources.
func together(all ...source) source {
	return func(y, z float64) float64 {
		sum := 0.0
		for _, s := range all {
			sum += s(y, z)
		}
		return sum
	}
}

// strength is ln of what a string at a height hears of a source: how the square of the
// field along it, summed up along it, falls with height. The string is magnetised along
// itself by the field, and its flux reaches the coil as the poles' own field reaches the
// string (reciprocity), so that the field counts twice.
func (s source) strength(z float64) float64 {
	const h = 0.05
	return math.Log(max(s.squares(z-h)-s.squares(z+h), 1e-12) / (2 * h))
}

// squares is the sum of the field's square along the string.
func (s source) squares(z float64) float64 {
	const far, step = 14.0, 0.35
	sum := 0.0
	for y := step / 2; y < far; y += step {
		b := s(y, z)
		sum += b * b
	}
	return sum
}

// Gaps, from the poles' tops to the string's axis, that reaches are tabulated for.
const (
	leastGap = 0.5
	mostGap  = 10.0
	gapStep  = 0.5
)

// reach says at which gap a single usual pole under a string is as strong as what there
// is: by how much that gap is larger, tabulated by the true gap.
type reach []float64

// usual is how strong a single usual pole is, ln, by the gap, mm.
type usual struct {
	at, strong []float64
	atRef      float64 // at the reference gap
}

// Steps of usual's table, mm.
const usualLow, usualHigh, usualStep = 0.1, 25.0, 0.1

func usualOf(diameter float64) usual {
	one := poleAt(diameter, 0)
	u := usual{atRef: one.strength(curve.RefGap)}
	for z := usualLow; z <= usualHigh; z += usualStep {
		u.at, u.strong = append(u.at, z), append(u.strong, one.strength(z))
	}
	return u
}

// reach compares a source with the usual pole. At the reference gap, scale is by how
// much more of it there is than of one pole, ln: such a share that all strings have is no
// part of their balance.
func (u usual) reach(of source, scale float64) reach {
	var r reach
	for z := leastGap; z <= mostGap; z += gapStep {
		want := of.strength(z) - scale
		k := 1
		for k < len(u.at)-1 && u.strong[k] > want {
			k++
		}
		r = append(r, u.at[k-1]+(u.strong[k-1]-want)/(u.strong[k-1]-u.strong[k])*usualStep-z)
	}
	return r
}

// more is by how much the gap counts for larger than it is.
func (r reach) more(gap float64) float64 {
	x := (min(max(gap, leastGap), mostGap) - leastGap) / gapStep
	k := min(int(x), len(r)-2)
	return r[k] + (x-float64(k))*(r[k+1]-r[k])
}

// relative is by how much a source is stronger than the usual pole at the reference gap.
func (u usual) relative(of source) float64 { return of.strength(curve.RefGap) - u.atRef }
