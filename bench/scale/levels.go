package main

import (
	"math"

	"evenpole/jig"
	"evenpole/jig/sim"
	"evenpole/profiles"
)

// The heights, mm, at which the simulated jig is asked; in between its levels are
// interpolated, as it takes ten milliseconds for one mounting and a record has 160,000.
const (
	lowestPole, highestPole     = 0.0, 2.6
	lowestString, highestString = 3.2, 5.8
	poleNodes, stringNodes      = 5, 6
)

// usualRemanence is that of the magnets at which the jig is asked, T. Others are
// stronger in proportion.
const usualRemanence = 0.31

// levels are ln v, v in mV, of the strings of one set.
type levels struct {
	flat [][]grid // by string: over a pole among neighbours of its own height
	side [][]grid // by string: what 1 mm adds by which the neighbours stand higher
}

// A grid is a row of nodes along the string's height, for one height of the pole.
type grid [stringNodes]float64

// newLevels asks the simulated jig for the levels of a set.
func newLevels(strings []profiles.String, excite jig.Excite) *levels {
	n := len(strings)
	l := &levels{flat: make([][]grid, n), side: make([][]grid, n)}
	for i := range n {
		l.flat[i], l.side[i] = make([]grid, poleNodes), make([]grid, poleNodes)
	}
	const raised = 0.4
	for p := range poleNodes {
		for s := range stringNodes {
			pole, height := node(lowestPole, highestPole, poleNodes, p), node(lowestString, highestString, stringNodes, s)
			flat := ask(strings, pole, height, [2]float64{}, excite)
			odd := ask(strings, pole, height, [2]float64{0, raised}, excite)
			even := ask(strings, pole, height, [2]float64{raised, 0}, excite)
			for i := range n {
				l.flat[i][p][s] = flat[i]
				l.side[i][p][s] = ([][]float64{odd, even}[i%2][i] - flat[i]) / raised
			}
		}
	}
	return l
}

// ask returns the levels over poles of one height, of which every second one, the
// first or not, stands a little higher.
func ask(strings []profiles.String, pole, height float64, raised [2]float64, excite jig.Excite) []float64 {
	j := sim.New(sim.Config{Excite: excite, Scatter: &sim.Scatter{}})
	var m sim.Mounted
	for i, s := range strings {
		hz, _ := profiles.Pitch(s.Note) // the sets of this program
		m.Poles = append(m.Poles, sim.Pole{Height: pole + raised[i%2], Radius: 2.38, Length: 16.5, Remanence: usualRemanence})
		m.Strings = append(m.Strings, sim.String{Gauge: s.Gauge, Core: s.Core, Wrap: string(s.Wrap), Freq: hz})
		m.StringHeights = append(m.StringHeights, height)
	}
	j.Mount(m)
	v := j.TrueLevels()
	for i := range v {
		v[i] = math.Log(v[i])
	}
	return v
}

// at returns ln v of string i at a height over a pole, whose neighbours stand higher by
// some mm on average.
func (l *levels) at(i int, pole, height, higher float64) float64 {
	along := weights(lowestString, highestString, stringNodes, height)
	across := weights(lowestPole, highestPole, poleNodes, pole)
	var y float64
	for p := range poleNodes {
		for s := range stringNodes {
			y += across[p] * along[s] * (l.flat[i][p][s] + higher*l.side[i][p][s])
		}
	}
	return y
}

func node(low, high float64, n, i int) float64 { return low + (high-low)*float64(i)/float64(n-1) }

// weights are Lagrange's, of the values at n nodes for one at x.
func weights(low, high float64, n int, x float64) (w [stringNodes]float64) {
	for i := range n {
		w[i] = 1
		for k := range n {
			if k != i {
				w[i] *= (x - node(low, high, n, k)) / (node(low, high, n, i) - node(low, high, n, k))
			}
		}
	}
	return w
}
