package next

import (
	"fmt"
	"math"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
)

// benchPickup is a pickup that could be on the jig.
type benchPickup struct {
	name    string    // "" = one to be wound
	key     string    // tells those to be wound apart; "" for one of the record
	poles   []float64 // mm
	strings []float64 // mm, where the strings usually lie over it
}

// benchesOf lists the record's pickups whose strings all have poles, then
// pickups to be wound: to the first plan, and with short and tall poles in turn.
func benchesOf(d *cell.Data, first Want) []benchPickup {
	var out []benchPickup
	for _, cells := range d.ByPickup() {
		if b, ok := benchOf(cells); ok {
			out = append(out, b)
		}
	}
	heights := first.Setup.StringHeights
	if len(out) > 0 && len(out[0].strings) == len(heights) {
		heights = out[0].strings
	}
	shortFirst, tallFirst := inTurn(heights)
	for k, poles := range [][]float64{first.Heights, shortFirst, tallFirst} {
		if !slices.ContainsFunc(poles, func(h float64) bool { return h < 0 }) {
			out = append(out, benchPickup{key: fmt.Sprintf("to be wound %d", k+1), poles: poles, strings: heights})
		}
	}
	return out
}

// inTurn are heights of short and tall poles in turn under strings of some heights, mm.
func inTurn(strings []float64) (shortFirst, tallFirst []float64) {
	const short, tall, leastGap = 0.3, 2.1, 1.2
	for i, h := range strings {
		one, other := short, math.Round(20*min(tall, h-leastGap))/20
		if i%2 == 1 {
			one, other = other, one
		}
		shortFirst, tallFirst = append(shortFirst, one), append(tallFirst, other)
	}
	return shortFirst, tallFirst
}

// benchOf is a pickup of the record, by the lowest strings that it was
// measured under.
func benchOf(cells []cell.Cell) (benchPickup, bool) {
	b := benchPickup{name: cells[0].Pickup}
	for i := range cells {
		c := &cells[i]
		for len(b.poles) < c.String {
			b.poles, b.strings = append(b.poles, math.NaN()), append(b.strings, math.Inf(1))
		}
		b.poles[c.String-1] = c.PoleHeight
		b.strings[c.String-1] = min(b.strings[c.String-1], c.StringHeight)
	}
	return b, !slices.ContainsFunc(b.poles, math.IsNaN)
}

// effectKey names the level of effect k for a pickup, or for its pole i.
func (b *benchPickup) effectKey(k, i int) string {
	return curve.Effects[k].Key(&cell.Cell{Mounting: &cell.Mounting{Pickup: b.name + b.key}, String: i + 1})
}
