package profiles

import (
	"fmt"
	"math"
)

// farApart is by how much two readings of one height differ that are not both right, mm:
// six times what a caliper's reading scatters by in a steady hand (our assumption).
const farApart = 0.15

// Twice is how far two readings of the same heights are apart.
type Twice struct {
	Heights int     // that were read twice
	Apart   float64 // mm, root mean square of the differences
	Worst   int     // the one that differs most, from 1
	Most    float64 // mm, by which it does
}

// Scatter is the standard deviation of one reading, mm: that of a difference of two is
// √2 as large. The mean of the two, which counts, has 1/√2 of it.
func (t *Twice) Scatter() float64 { return t.Apart / math.Sqrt2 }

// Told says in words what the readings differ by; what is "pole" or "string".
func (t *Twice) Told(what string) string {
	said := Sprintf("%s heights were read twice: the readings differ by %.2f mm (root mean square), most at %s %d, by %.2f mm", what, t.Apart, what, t.Worst, t.Most)
	if t.Most > farApart {
		return said + fmt.Sprintf("; one of the two is wrong: read %s %d once more", what, t.Worst)
	}
	return said + Sprintf("; one reading scatters by %.2f mm, their mean, which counts, by %.2f mm", t.Scatter(), t.Scatter()/math.Sqrt2)
}

// again reads the second readings of heights: what counts is the mean of both. It
// returns nil where there are none.
func (t *table) again(stem string, first []float64, s span) ([]float64, *Twice) {
	second := t.lengths(stem+"_again", optional, s)
	if second == nil || !t.doc.ok() {
		return first, nil
	}
	if !t.has(stem) {
		t.fail(stem+"_again", "expected first readings beside it, as %s_mm", stem)
		return first, nil
	}
	count(t, stem+"_again", second, len(first))
	if !t.doc.ok() {
		return first, nil
	}
	mean, twice := make([]float64, len(first)), &Twice{Heights: len(first)}
	for i, x := range first {
		mean[i] = (x + second[i]) / 2
		apart := math.Abs(x - second[i])
		twice.Apart += apart * apart
		if apart > twice.Most || twice.Worst == 0 {
			twice.Worst, twice.Most = i+1, apart
		}
	}
	twice.Apart = math.Sqrt(twice.Apart / float64(len(first)))
	return mean, twice
}
