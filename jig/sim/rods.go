package sim

import (
	"fmt"
	"math"

	"evenpole/fit/field"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// recoil is the relative permeability of cast alnico along its recoil line: handbooks
// have 3 to 6, by grade (from memory).
const recoil = 4

// measuredAt is how far over its face a rod's effective remanence is measured, mm.
const measuredAt = 0.5

// nodes are where a rod's polarisation is told, as shares of its length from the top:
// closer towards its ends. Between them it changes evenly.
var nodes = []float64{0, 0.05, 0.15, 0.3, 0.5, 0.7, 0.88, 1}

// rods are the poles of a pickup as magnets and as iron. A rod's polarisation is along the
// rod and even across it: what of it ends between two heights comes out at the side, since
// evenly permeable iron has no charge inside. On the axis it is what the magnet has by
// itself and, by its permeability, what the field of all rods' charges and of a current in
// the coil adds.
type rods []*column

// column is a rod with its polarisation.
type column struct {
	rod   field.Rod // of remanence 1
	x     float64   // mm, across the strings
	more  float64   // permeability less 1
	own   float64   // T, polarisation in no field
	nodes []float64 // mm above the bobbin plane, top first

	magnet charges // T
	iron   charges // of a current in the coil, beside the flux density in a long coil
}

// charges are where polarisation ends: on a rod's faces, and on its side by how much the
// charge is more below each node than above it.
type charges struct {
	top, bottom float64
	side        []float64
}

// newRods returns the poles of a pickup, magnetised by each other and the coil.
func newRods(m Mounted, nodes []float64, in coil) rods {
	var all rods
	for i, p := range m.Poles {
		if p.Radius > 0 && p.Length > 0 {
			all = append(all, newColumn(p, m.x(i), nodes))
		}
	}
	all.magnetise(in)
	return all
}

// newColumn returns a pole whose polarisation in no field is such that the rod, when it
// is alone, has the field of an evenly magnetised rod of its effective remanence.
func newColumn(p Pole, x float64, nodes []float64) *column {
	setDefault(&p.Permeability, recoil)
	c := &column{rod: field.Rod{Radius: p.Radius, Length: p.Length, Remanence: 1}, x: x, more: p.Permeability - 1, own: 1}
	for _, share := range nodes {
		c.nodes = append(c.nodes, p.Height-share*p.Length)
	}
	alone := rods{c}
	alone.magnetise(coil{})
	b, _ := alone.at(x, 0, p.Height+measuredAt)
	c.own = p.Remanence * c.rod.OnAxis(measuredAt) / b.up
	return c
}

// magnetise finds the polarisation at every node: that in no field, and permeability less 1
// times the field strength (mu0 H, in T) on the axis there. The magnets' own state and that
// of the iron in the coil are two right-hand sides of one system.
func (r rods) magnetise(in coil) {
	if len(r) == 0 {
		return
	}
	n := len(r[0].nodes)
	system, sides := mat.NewDense(len(r)*n, len(r)*n, nil), mat.NewDense(len(r)*n, 2, nil)
	for i := range len(r) * n {
		c, z := r[i/n], r[i/n].nodes[i%n]
		row := system.RawRowView(i)
		for j, by := range r {
			by.strength(row[j*n:(j+1)*n], c.x, z)
		}
		floats.Scale(-c.more, row)
		row[i]++
		sides.SetRow(i, []float64{c.own, c.more * in.at(c.x, 0, z).up})
	}
	var all mat.Dense
	if err := all.Solve(system, sides); err != nil {
		panic(fmt.Sprintf("sim: poles cannot be magnetised: %v", err))
	}
	for j, c := range r {
		c.magnet = c.charges(mat.Col(nil, 0, all.Slice(j*n, (j+1)*n, 0, 2)))
		c.iron = c.charges(mat.Col(nil, 1, all.Slice(j*n, (j+1)*n, 0, 2)))
	}
}

// strength sets dst to the field strength upwards on the axis of a rod at x, at the height
// z, by c with a polarisation of 1 T at each of its nodes.
func (c *column) strength(dst []float64, x, z float64) {
	rho, last := math.Abs(x-c.x), len(c.nodes)-1
	_, top := c.rod.Face(rho, z-c.nodes[0])
	_, bottom := c.rod.Face(rho, z-c.nodes[last])
	dst[0], dst[last] = top, -bottom
	if rho == 0 { // inside, half of each is the polarisation's
		dst[0], dst[last] = top-0.5, -bottom-0.5
	}
	_, above := c.rod.Side(rho, z-c.nodes[0])
	for k := range last {
		_, below := c.rod.Side(rho, z-c.nodes[k+1])
		by := c.perStep(k) * (above - below)
		dst[k], dst[k+1] = dst[k]-by, dst[k+1]+by
		above = below
	}
}

// perStep is the charge on the side below node k by how much more polarisation is at the
// next node: what enters a piece of the rod from below and does not leave it above, by the
// area of its side.
func (c *column) perStep(k int) float64 {
	return c.rod.Radius / 2 / (c.nodes[k] - c.nodes[k+1])
}

// charges are those of a polarisation at the nodes.
func (c *column) charges(j []float64) charges {
	last := len(j) - 1
	q := charges{top: j[0], bottom: -j[last], side: make([]float64, len(j))}
	for k := range last {
		side := c.perStep(k) * (j[k+1] - j[k])
		q.side[k], q.side[k+1] = q.side[k]+side, -side
	}
	return q
}

// at returns the flux density of the magnets in T, and that of the iron in the coil beside
// the current's in a long coil, at a point that is not inside a rod or below it.
func (r rods) at(x, y, z float64) (magnets, iron vector) {
	for _, c := range r {
		rho := math.Hypot(x-c.x, y)
		var out, ironOut float64
		add := func(o, u, magnet, coil float64) {
			out, magnets.up = out+magnet*o, magnets.up+magnet*u
			ironOut, iron.up = ironOut+coil*o, iron.up+coil*u
		}
		o, u := c.rod.Face(rho, z-c.nodes[0])
		add(o, u, c.magnet.top, c.iron.top)
		o, u = c.rod.Face(rho, z-c.nodes[len(c.nodes)-1])
		add(o, u, c.magnet.bottom, c.iron.bottom)
		if rho < c.rod.Radius {
			add(0, 0.5, c.magnet.top+c.magnet.bottom, c.iron.top+c.iron.bottom)
		}
		for k, height := range c.nodes {
			o, u = c.rod.Side(rho, z-height)
			add(o, u, c.magnet.side[k], c.iron.side[k])
		}
		if rho > 0 {
			magnets.along += out * y / rho
			iron.along += ironOut * y / rho
		}
	}
	return magnets, iron
}
