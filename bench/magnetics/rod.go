package magnetics

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Rod is a cylinder that is magnetised along its axis. On its recoil line its flux
// density is Remanence + Permeability times that of the field it is in.
type Rod struct {
	Radius, Length float64 // mm
	Permeability   float64 // of the recoil line, 1 or more
	Remanence      float64 // T, on that line
}

// element is a band of a rod's surface: part of the side, or of a face.
type element struct {
	ring            // where its field is taken
	area    float64 // mm²
	out, up float64 // outward normal
	parts   [2]ring // the charge is on these, half on each
}

// surface is a rod's surface in bands, and how their charges answer to a field. Heights
// count from the upper face.
type surface struct {
	rod      Rod
	elements []element
	answer   *mat.Dense // charges by the normal field that others make at each element
	own      []float64  // charges that the remanence alone makes, for 1 T
}

// Bands are narrow towards the rims, where charges crowd.
const (
	faceBands = 12
	sideBands = 20
)

// newSurface solves for one rod alone: on each band the charge per area is the
// remanence's, plus (permeability - 1) times the normal field just inside.
func newSurface(r Rod) *surface {
	s := &surface{rod: r, elements: bands(r)}
	n := len(s.elements)
	chi := r.Permeability - 1
	system := mat.NewDense(n, n, nil)
	for j, source := range s.elements {
		flux := 0.0 // of band j through all others
		for i, at := range s.elements {
			if i == j {
				continue
			}
			normal := source.normalField(&at)
			flux += at.area * normal
			system.Set(i, j, -chi*at.area*normal)
		}
		// Half of a charge's flux goes into the rod: what the others do not get is its own.
		own := (0.5 - flux) / source.area
		system.Set(j, j, 1+chi/2-chi*own*source.area)
	}
	right := mat.NewDense(n, n+1, nil)
	for i, e := range s.elements {
		right.Set(i, i, chi*e.area)
		right.Set(i, n, e.up*e.area)
	}
	var all mat.Dense
	if err := all.Solve(system, right); err != nil {
		panic("magnetics: a rod's surface has no charges: " + err.Error())
	}
	s.answer = mat.DenseCopyOf(all.Slice(0, n, 0, n))
	s.own = mat.Col(nil, n, &all)
	return s
}

// normalField is the normal flux density at a band of a unit charge on e.
func (e *element) normalField(at *element) (sum float64) {
	for _, p := range e.parts {
		out, up := p.field(at.radius, at.z)
		sum += (out*at.out + up*at.up) / 2
	}
	return sum
}

// bands cuts a rod's surface: upper face, side, lower face.
func bands(r Rod) []element {
	var out []element
	faces := graded(faceBands, func(u float64) float64 { return r.Radius * math.Sin(math.Pi/2*u) })
	for _, z := range []float64{0, -r.Length} {
		up := 1.0
		if z < 0 {
			up = -1
		}
		for k := range faceBands {
			a, b := faces[k], faces[k+1]
			out = append(out, element{
				ring: ring{math.Sqrt((a*a + b*b) / 2), z}, area: math.Pi * (b*b - a*a), up: up,
				parts: [2]ring{{a + (b-a)*gauss2, z}, {b - (b-a)*gauss2, z}},
			})
		}
	}
	sides := graded(sideBands, func(u float64) float64 { return -r.Length * (1 - math.Cos(math.Pi*u)) / 2 })
	for k := range sideBands {
		a, b := sides[k], sides[k+1]
		out = append(out, element{
			ring: ring{r.Radius, (a + b) / 2}, area: 2 * math.Pi * r.Radius * (a - b), out: 1,
			parts: [2]ring{{r.Radius, a + (b-a)*gauss2}, {r.Radius, b - (b-a)*gauss2}},
		})
	}
	return out
}

// gauss2 is the place of the first of two Gauss points between 0 and 1.
const gauss2 = 0.21132486540518713

// graded are n+1 values of f from 0 to 1.
func graded(n int, f func(float64) float64) []float64 {
	out := make([]float64, n+1)
	for k := range out {
		out[k] = f(float64(k) / float64(n))
	}
	return out
}
