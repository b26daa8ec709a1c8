package explain

import (
	"cmp"
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/fit/curve"
	"evenpole/fit/level"
)

// fallClasses is how many classes of steel area the curve is drawn for, at most.
const fallClasses = 3

// falls draws the curve for classes of strings with about as much steel, as that of the
// middle one has it, and what each cell says of its own string's curve.
func falls(m *fit.CellEffects, residuals []float64) []FallClass {
	f := m.Model
	area := make([]float64, len(m.Sites))
	for i, s := range m.Sites {
		area[i] = f.LogArea(f.Theta, s)
	}
	var out []FallClass
	for _, members := range classes(area) {
		c := FallClass{From: curve.PlainDiameter(area[members[0]]), To: curve.PlainDiameter(area[members[len(members)-1]])}
		least, most := math.Inf(1), math.Inf(-1)
		for _, i := range members {
			gap := m.Sites[i].Gap() + m.Lift[i]
			least, most = min(least, gap), max(most, gap)
			c.Points = append(c.Points, FallPoint{gap, level.PerLn * (f.Fall(m.Sites[i], gap) + residuals[i]), 0})
		}
		middle := m.Sites[members[len(members)/2]]
		const steps = 48
		for k := range steps + 1 {
			gap := least + (most-least)*float64(k)/steps
			fall, se := f.FallAt(middle, gap)
			c.Curve = append(c.Curve, FallPoint{gap, level.PerLn * fall, level.PerLn * normal95 * se})
		}
		out = append(out, c)
	}
	return out
}

// classes sorts items into some classes of about as many each; equal values
// stay together. Each class lists its items from the least value up.
func classes(values []float64) [][]int {
	order := make([]int, len(values))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(values[i], values[j]) })
	var out [][]int
	for len(order) > 0 {
		n := max(1, len(order)/max(1, fallClasses-len(out)))
		for n < len(order) && values[order[n]] == values[order[n-1]] {
			n++
		}
		out = append(out, order[:n])
		order = order[n:]
	}
	return out
}
