package cell

import (
	"math"
	"slices"
	"time"

	"evenpole/capture/record"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/stat"
)

// mostTakes is how many takes of a cell are kept: with so many, the error of
// their mean is far below that of setting a height.
const mostTakes = 1000

// take is one take of a cell.
type take struct {
	level, freq float64 // ln v; Hz
	rms, peak   float64 // mV
	when        float64 // see timeOf
	time        time.Time
	batch       string
	ref         record.Ref
	file, line  int32
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

// TakeStats are the plain mean, scatter, trend and peaks of the takes of a cell.
type TakeStats struct {
	Mean, SD float64 // ln v: plain mean, and standard deviation of one take
	Trend    Trend
	Top      Ceiling
	Others   []Span // rows of the cell that are no takes: quiet levels, retractions, repeated rows
}

// takeStatsOf sums takes up whose robust mean and deviation are known.
func takeStatsOf(takes []take, levels []float64, mean, sd float64) *TakeStats {
	return &TakeStats{Mean: stat.Mean(levels, nil), SD: solve.StdDev(levels), Top: ceilingOf(takes), Trend: trendOf(takes, mean, sd)}
}

// Trend sums up how the level went with time. Levels are clipped two deviations from
// their robust mean, so that one bad take makes no trend.
type Trend struct {
	Mean, First, Last float64 // s, or whatever stands for times: see timeOf
	Spread            float64 // sum of squared times about their mean
	Cross             float64 // sum of times by levels, both about their mean
}

func trendOf(takes []take, mean, sd float64) Trend {
	t := Trend{First: math.Inf(1), Last: math.Inf(-1)}
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
	for _, t := range takes {
		if of(t) == c.Value {
			c.Reached++
			c.Rows = addLine(c.Rows, int(t.file), int(t.line))
		}
	}
	return c
}

// batchOf is the batch that the first take names which names one.
func batchOf(takes []take) string {
	for _, t := range takes {
		if t.batch != "" {
			return t.batch
		}
	}
	return ""
}

// firstOf is the earliest time of takes; zero when none has one.
func firstOf(takes []take) time.Time {
	var first time.Time
	for _, t := range takes {
		if !t.time.IsZero() && (first.IsZero() || t.time.Before(first)) {
			first = t.time
		}
	}
	return first
}
