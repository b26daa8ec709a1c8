package cell

import (
	"math"
	"slices"

	"evenpole/capture/record"
	"evenpole/fit/solve"
)

// within is what the takes of a cell say beside their mean.
type within struct {
	mean, sd float64 // see Cell.Plain
	Trend    trend
	Top      Ceiling
	Others   []Span // rows of the cell that are no takes: quiet levels, what was taken back or stands twice
}

// trend sums up how the level went with time. Levels are clipped as in
// robustMean, so that one bad take makes no trend.
type trend struct {
	Mean, First, Last float64 // see timeOf
	Spread            float64 // sum of squared times about their mean
	Cross             float64 // sum of times by levels, both about their mean
}

// Ceiling is the highest peak (RMS where the takes have no peak) and how often
// it was reached to the last digit.
type Ceiling struct {
	Value          float64 // mV
	Reached, Takes int     // takes that reached it, of how many
	Rows           []Span
	Scatter        float64 // of one take, ln; 0 when not known
	Step           float64 // least difference between two takes, mV; infinite when there is none
	OfPeaks        bool    // a peak, not an RMS
}

// timeOf is when a take was made, in seconds; its number on the jig, or its line,
// stands for the time of takes without one.
func timeOf(r *record.Reading) float64 {
	switch {
	case !r.Time.IsZero():
		return float64(r.Time.UnixMilli()) / 1000
	case r.HasSeq:
		return float64(r.Seq)
	}
	return float64(r.Line)
}

func trendOf(takes []take, mean, sd float64) trend {
	t := trend{First: math.Inf(1), Last: math.Inf(-1)}
	for _, x := range takes {
		t.Mean += x.when / float64(len(takes))
		t.First, t.Last = min(t.First, x.when), max(t.Last, x.when)
	}
	for _, x := range takes {
		d := x.when - t.Mean
		t.Spread += d * d
		t.Cross += d * min(max(x.level-mean, -2*sd), 2*sd)
	}
	return t
}

func ceilingOf(takes []take) Ceiling {
	c := Ceiling{Takes: len(takes), OfPeaks: !slices.ContainsFunc(takes, func(t take) bool { return !(t.peak > 0) || !solve.Finite(t.peak) })}
	of := func(t take) float64 {
		if c.OfPeaks {
			return t.peak
		}
		return t.rms
	}
	var values, logs []float64
	for _, t := range takes {
		values, logs = append(values, of(t)), append(logs, math.Log(of(t)))
	}
	slices.Sort(values)
	c.Value, c.Step = values[len(values)-1], math.Inf(1)
	for i, v := range values[1:] {
		if v > values[i] {
			c.Step = min(c.Step, v-values[i])
		}
	}
	_, c.Scatter = solve.RobustMean(logs)
	g := gathered{}
	for _, t := range takes {
		if of(t) == c.Value {
			c.Reached++
			g.touch(int(t.file), int(t.line))
		}
	}
	c.Rows = g.rows
	return c
}
