package fit

import (
	"math"
	"slices"

	"evenpole/capture"
)

// within is what the takes of a cell say beside their mean.
type within struct {
	mean, sd float64 // see Cell.Plain
	trend    trend
	top      ceiling
	others   []Span // rows of the cell that are no takes: quiet levels, what was taken back or stands twice
}

// trend sums up how the level went with time. Levels are clipped as in
// robustMean, so that one bad take makes no trend.
type trend struct {
	mean, first, last float64 // see timeOf
	spread            float64 // sum of squared times about their mean
	cross             float64 // sum of times by levels, both about their mean
}

// ceiling is the highest peak (RMS where the takes have no peak) and how often
// it was reached to the last digit.
type ceiling struct {
	value   float64 // mV
	at, of  int     // takes that reached it, of how many
	rows    []Span
	scatter float64 // of one take, ln; 0 when not known
	step    float64 // least difference between two takes, mV; infinite when there is none
	peak    bool    // a peak, not an RMS
}

// timeOf is when a take was made, in seconds; its number on the jig, or its line,
// stands for the time of takes without one.
func timeOf(r *capture.Reading) float64 {
	switch {
	case !r.Time.IsZero():
		return float64(r.Time.UnixMilli()) / 1000
	case r.HasSeq:
		return float64(r.Seq)
	}
	return float64(r.Line)
}

func trendOf(takes []take, mean, sd float64) trend {
	t := trend{first: math.Inf(1), last: math.Inf(-1)}
	for _, x := range takes {
		t.mean += x.when / float64(len(takes))
		t.first, t.last = min(t.first, x.when), max(t.last, x.when)
	}
	for _, x := range takes {
		d := x.when - t.mean
		t.spread += d * d
		t.cross += d * min(max(x.level-mean, -2*sd), 2*sd)
	}
	return t
}

func ceilingOf(takes []take) ceiling {
	c := ceiling{of: len(takes), peak: !slices.ContainsFunc(takes, func(t take) bool { return !(t.peak > 0) || !finite(t.peak) })}
	of := func(t take) float64 {
		if c.peak {
			return t.peak
		}
		return t.rms
	}
	var values, logs []float64
	for _, t := range takes {
		values, logs = append(values, of(t)), append(logs, math.Log(of(t)))
	}
	slices.Sort(values)
	c.value, c.step = values[len(values)-1], math.Inf(1)
	for i, v := range values[1:] {
		if v > values[i] {
			c.step = min(c.step, v-values[i])
		}
	}
	_, c.scatter = robustMean(logs)
	g := gathered{}
	for _, t := range takes {
		if of(t) == c.value {
			c.at++
			g.touch(int(t.file), int(t.line))
		}
	}
	c.rows = g.rows
	return c
}
