package fit

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"evenpole/capture"
)

// within is what the takes of a cell say beside their mean.
type within struct {
	trend  trend
	top    ceiling
	others []Span // rows of the cell that are no takes: quiet levels, what was taken back or stands twice
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
	step    float64 // last digit, mV
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

func withinOf(takes []take, mean, sd float64) *within {
	return &within{trend: trendOf(takes, mean, sd), top: ceilingOf(takes)}
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
	var logs []float64
	digits := 0
	for _, t := range takes {
		c.value = max(c.value, of(t))
		digits = max(digits, decimals(of(t)))
		logs = append(logs, math.Log(of(t)))
	}
	c.step = math.Pow10(-digits)
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

// decimals is how many decimals a number was written with.
func decimals(v float64) int {
	_, after, _ := strings.Cut(strconv.FormatFloat(v, 'f', -1, 64), ".")
	return len(after)
}

// merged puts runs of lines in order and joins those that touch.
func merged(spans []Span) []Span {
	spans = slices.Clone(spans)
	slices.SortFunc(spans, func(a, b Span) int { return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.First, b.First)) })
	var out []Span
	for _, s := range spans {
		if n := len(out); n > 0 && out[n-1].File == s.File && s.First <= out[n-1].Last+1 {
			out[n-1].Last = max(out[n-1].Last, s.Last)
			continue
		}
		out = append(out, s)
	}
	return out
}
