package screen

import (
	"fmt"
	"math"
	"slices"

	"evenpole/fit/cell"
)

// ceiling is a highest peak in a session of a pickup.
type ceiling struct {
	pickup, session string
	value           float64 // mV
}

func ceilingOf(c *cell.Cell) ceiling { return ceiling{c.Pickup, c.Session, c.TakeStats.Top.Value} }

// clippedTakes finds cells whose takes reached the same highest peak to the last digit:
// more often than chance has it, or at a ceiling that stands out in another cell
// of the session.
func clippedTakes(d *cell.Data) []mistake {
	usual := usualPeaks(d.Cells)
	at := map[ceiling]*mistake{}
	var order []ceiling
	for i := range d.Cells {
		c := &d.Cells[i]
		if c.TakeStats == nil {
			continue
		}
		evidence := ties(&c.TakeStats.Top, usual[c.TakeStats.Top.OfPeaks])
		if evidence < leastTieEvidence {
			continue
		}
		p := ceilingOf(c)
		if at[p] == nil {
			at[p] = &mistake{Suspect: cell.Suspect{Kind: ClippedUnseen, Pickup: c.Pickup, Session: c.Session, Columns: []string{"rms_mv", "peak_mv"}}}
			order = append(order, p)
		}
		at[p].addClipped(c, i)
		at[p].Evidence = max(at[p].Evidence, evidence)
	}
	for i := range d.Cells { // those that reached the same ceiling more seldom
		c := &d.Cells[i]
		if len(at) == 0 || c.TakeStats == nil {
			continue
		}
		if m := at[ceilingOf(c)]; m != nil && ties(&c.TakeStats.Top, usual[c.TakeStats.Top.OfPeaks]) < leastTieEvidence {
			m.addClipped(c, i)
		}
	}
	var out []mistake
	for _, p := range order {
		m := at[p]
		slices.Sort(m.Strings)
		m.Strings = slices.Compact(m.Strings)
		m.Rows = mergeSpans(m.Rows)
		m.Cause = fmt.Sprintf("the same highest peak, %g mV, in%s: cut off by an amplifier that the jig does not watch?", p.value, m.Cause[1:])
		out = append(out, *m)
	}
	return out
}

// addClipped adds a cell that reached the ceiling.
func (m *mistake) addClipped(c *cell.Cell, i int) {
	top := &c.TakeStats.Top
	m.cells = append(m.cells, i)
	m.Strings = append(m.Strings, c.String)
	m.Rows = append(m.Rows, top.Rows...)
	m.Cause += fmt.Sprintf(", %d of %d takes of string %d", top.Reached, top.Takes, c.String)
}

// leastTieEvidence is the evidence from which ties are no chance, see ties.
const leastTieEvidence = 9

// peaks is how peaks, or RMS levels where there are none, differ from take to take.
type peaks struct {
	scatter float64 // median over cells, ln
	step    float64 // least difference, mV: the last digit, or what the jig resolves
}

// usualPeaks is the record's scatter of peaks (true) and of RMS levels (false).
func usualPeaks(cells []cell.Cell) map[bool]peaks {
	all := map[bool][]float64{}
	out := map[bool]peaks{}
	for i := range cells {
		w := cells[i].TakeStats
		if w == nil || w.Top.Takes < 3 {
			continue
		}
		k := w.Top.OfPeaks
		if len(all[k]) == 0 {
			all[k], out[k] = make([]float64, 0, len(cells)), peaks{step: math.Inf(1)}
		}
		all[k] = append(all[k], w.Top.Scatter)
		out[k] = peaks{step: min(out[k].step, w.Top.Step)}
	}
	for k, v := range all {
		out[k] = peaks{median(v), out[k].step}
	}
	return out
}

// ties is -ln of the chance that so many takes would reach the highest value
// to its last digit: two normal values that scatter by s fall on the same digit
// with the chance step/(2 s sqrt(pi)).
func ties(c *cell.Ceiling, usual peaks) float64 {
	if c.Reached < 3 || !(usual.scatter > 0) || !(c.Value > 0) {
		return 0
	}
	chance := min(1, usual.step/(c.Value*usual.scatter*2*math.SqrtPi))
	return -float64(c.Reached-1)*math.Log(chance) - logChoose(c.Takes, c.Reached)
}

// logChoose is ln of how many ways there are to choose k of n.
func logChoose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}
