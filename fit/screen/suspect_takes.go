package screen

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"evenpole/fit/cell"
	"evenpole/fit/solve"
)

// decimals is how many decimals a number was written with.
func decimals(v float64) int {
	_, after, _ := strings.Cut(strconv.FormatFloat(v, 'f', -1, 64), ".")
	return len(after)
}

// merged puts runs of lines in order and joins those that touch.
func merged(spans []cell.Span) []cell.Span {
	spans = slices.Clone(spans)
	slices.SortFunc(spans, func(a, b cell.Span) int { return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.First, b.First)) })
	var out []cell.Span
	for _, s := range spans {
		if n := len(out); n > 0 && out[n-1].File == s.File && s.First <= out[n-1].Last+1 {
			out[n-1].Last = max(out[n-1].Last, s.Last)
			continue
		}
		out = append(out, s)
	}
	return out
}

// ceilings finds cells whose takes reached the same highest peak to the last digit:
// more often than chance has it, or at a ceiling that stands out in another cell
// of the session.
func ceilings(d *cell.Data) []suspect {
	usual := usualPeaks(d.Cells)
	type place struct {
		pickup, session string
		value           float64
	}
	at := map[place]*suspect{}
	var order []place
	for pass := range 2 {
		for i := range d.Cells {
			c := &d.Cells[i]
			if c.Within == nil {
				continue
			}
			top := &c.Within.Top
			p := place{c.Pickup, c.Session, top.Value}
			evidence := ties(top, usual[top.OfPeaks])
			known := at[p]
			switch {
			case pass == 0 && evidence >= enoughTies && known == nil:
				at[p] = &suspect{Suspect: cell.Suspect{Kind: ClippedUnseen, Pickup: c.Pickup, Session: c.Session, Columns: []string{"rms_mv", "peak_mv"}}}
				order = append(order, p)
				known = at[p]
			case pass == 0 && evidence < enoughTies, pass == 1 && (known == nil || slices.Contains(known.cells, i)):
				continue
			}
			known.cells = append(known.cells, i)
			known.Strings = append(known.Strings, c.String)
			known.Rows = append(known.Rows, top.Rows...)
			known.Evidence = max(known.Evidence, evidence)
			known.Cause += fmt.Sprintf(", %d of %d takes of string %d", top.Reached, top.Takes, c.String)
		}
	}
	var out []suspect
	for _, p := range order {
		f := at[p]
		slices.Sort(f.Strings)
		f.Strings = slices.Compact(f.Strings)
		f.Rows = merged(f.Rows)
		f.Cause = fmt.Sprintf("the same highest peak, %g mV, in%s: cut off by an amplifier that the jig does not watch?", p.value, f.Cause[1:])
		out = append(out, *f)
	}
	return out
}

// enoughTies is the evidence that ties are no chance, in the same measure as
// enough.
const enoughTies = 9

// peaks is how peaks, or RMS levels where there are none, differ from take to take.
type peaks struct {
	scatter float64 // median over cells, ln
	step    float64 // least difference, mV: the last digit, or what the jig resolves
}

func usualPeaks(cells []cell.Cell) map[bool]peaks {
	all := map[bool][]float64{}
	out := map[bool]peaks{}
	for i := range cells {
		w := cells[i].Within
		if w == nil || w.Top.Takes < 3 {
			continue
		}
		k := w.Top.OfPeaks
		if len(all[k]) == 0 {
			out[k] = peaks{step: math.Inf(1)}
		}
		all[k] = append(all[k], w.Top.Scatter)
		out[k] = peaks{step: min(out[k].step, w.Top.Step)}
	}
	for k, v := range all {
		slices.Sort(v)
		out[k] = peaks{solve.Median(v), out[k].step}
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

func logChoose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}
