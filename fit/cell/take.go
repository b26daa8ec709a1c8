package cell

import (
	"math"

	"evenpole/capture/record"
)

// mostTakes is how many takes of a cell are kept: with so many, the error of
// their mean is far below that of setting a height.
const mostTakes = 1000

// take is one take of a cell. It holds no pointers, as a record has many.
type take struct {
	level, freq float64 // ln v; Hz
	rms, peak   float64 // mV
	when        float64 // see timeOf
	at          Instant
	ref         record.Ref
	batch       int32 // in store.batches
	file, line  int32
}

// takeOf is the take of a row.
func takeOf(r *record.Reading, y float64, batch int32, ref record.Ref, file int) take {
	return take{y, r.Freq, r.RMS, r.Peak, timeOf(r), InstantOf(r.Time), ref, batch, int32(file), int32(r.Line)}
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

// Trend sums up how the level went with time. Levels are clipped two deviations from
// their robust mean, so that one bad take makes no trend.
type Trend struct {
	Mean, First, Last float64 // s, or whatever stands for times: see timeOf
	Spread            float64 // sum of squared times about their mean
	Cross             float64 // sum of times by levels, both about their mean
}

func trendOf(takes []take, mean, sd float64) Trend {
	t := Trend{First: math.Inf(1), Last: math.Inf(-1)}
	for i := range takes {
		x := &takes[i]
		t.Mean += x.when / float64(len(takes))
		t.First, t.Last = min(t.First, x.when), max(t.Last, x.when)
	}
	for i := range takes {
		x := &takes[i]
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
	Scatter        float64 // standard deviation of one take over their mean; 0 when not known
	Step           float64 // least difference between two takes, mV; infinite when there is none
	OfPeaks        bool    // a peak, not an RMS
}

// loudest is the take's peak, or its RMS.
func (t *take) loudest(peak bool) float64 {
	if peak {
		return t.peak
	}
	return t.rms
}

// unnamedBatch stands for "" among batches.
const unnamedBatch = 0

// batchOf is the batch that the first take names which names one, in words.
func batchOf(takes []take) int32 {
	for i := range takes {
		if b := takes[i].batch; b != unnamedBatch {
			return b
		}
	}
	return unnamedBatch
}

// firstOf is the earliest time of takes; none when none has one.
func firstOf(takes []take) Instant {
	var first Instant
	for i := range takes {
		if t := takes[i].at; !t.IsZero() && (first.IsZero() || t.Before(first)) {
			first = t
		}
	}
	return first
}
