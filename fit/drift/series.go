package drift

import (
	"fmt"
	"iter"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenpole/capture/record"
	"evenpole/fit/cell"
	"evenpole/fit/level"
)

// The figures of a session that can be charted. Another is the balance of one string,
// which is named by its number.
const (
	Level   = "level"   // mean over the strings, dB re 1 mV
	Spread  = "spread"  // highest less lowest balance, dB
	Scatter = "scatter" // standard deviation of one take, pooled over the strings, dB
)

// Series is one figure of sessions, in the order of time.
type Series struct {
	Subject  string // what was measured, in words
	Of       string // Level, Spread, Scatter, or a string's number
	Values   []Value
	ByDay    bool // the sessions of a day are one point
	Warnings []string
}

// Value is that of one session.
type Value struct {
	Label string // the session or, of a pickup that shipped, its id
	Time  time.Time
	X     float64 // dB
}

// NoSeries says what a record lacks for a chart.
type NoSeries struct{ Msg string }

// Error says what is missing, and what to do.
func (e *NoSeries) Error() string { return e.Msg }

// Reference is the series of a pickup that is kept to watch the jig by: one value for
// each of its sessions of purpose repeat. Levels are as the jig reads them, not
// corrected for its gain, since the chart is to show changes of the jig.
func Reference(rows iter.Seq2[record.Reading, error], pickup, of string) (*Series, error) {
	s := &Series{Subject: fmt.Sprintf("reference pickup %s", pickup), Of: of, ByDay: true}
	keep := func(r *record.Reading) bool { return r.Purpose == record.ForRepeat && r.Pickup == pickup }
	if err := s.gather(rows, keep, func(c *cell.Cell) string { return c.Session }); err != nil {
		return nil, err
	}
	if len(s.Values) == 0 {
		return nil, &NoSeries{fmt.Sprintf("pickup %q: expected sessions of purpose %q, got none that count; capture it every day with \"evenpole capture --purpose repeat --again\"", pickup, record.ForRepeat)}
	}
	return s, nil
}

// Shipped is the series of finished pickups: one value for each, from its latest
// session of purpose check.
func Shipped(rows iter.Seq2[record.Reading, error], of string) (*Series, error) {
	s := &Series{Subject: "checked pickups", Of: of}
	keep := func(r *record.Reading) bool { return r.Purpose == record.ForCheck }
	if err := s.gather(rows, keep, func(c *cell.Cell) string { return c.Pickup }); err != nil {
		return nil, err
	}
	s.Values = slices.CompactFunc(s.byLabel(), func(a, b Value) bool { return a.Label == b.Label })
	s.sort()
	if len(s.Values) == 0 {
		return nil, &NoSeries{fmt.Sprintf("expected sessions of purpose %q, got none that count", record.ForCheck)}
	}
	return s, nil
}

// byLabel returns the values by label, the latest of each first.
func (s *Series) byLabel() []Value {
	slices.SortStableFunc(s.Values, func(a, b Value) int {
		if c := strings.Compare(a.Label, b.Label); c != 0 {
			return c
		}
		return b.Time.Compare(a.Time)
	})
	return s.Values
}

func (s *Series) sort() {
	slices.SortFunc(s.Values, func(a, b Value) int {
		if c := a.Time.Compare(b.Time); c != 0 {
			return c
		}
		return strings.Compare(a.Label, b.Label)
	})
}

// gather makes values of the sessions that are wanted. It warns of sessions that lack
// a time or a string, and leaves them out.
func (s *Series) gather(rows iter.Seq2[record.Reading, error], keep func(*record.Reading) bool, label func(*cell.Cell) string) error {
	figure, err := figureOf(s.Of)
	if err != nil {
		return err
	}
	data, err := cell.GatherOnly(keep, rows)
	if err != nil {
		return err
	}
	most := map[string]int{}
	for _, cells := range data.Sessions() {
		most[cells[0].Pickup] = max(most[cells[0].Pickup], len(cells))
	}
	for _, cells := range data.Sessions() {
		first := &cells[0]
		x := figure(cells)
		if first.First.IsZero() || len(cells) < most[first.Pickup] || cells[len(cells)-1].String != len(cells) || math.IsNaN(x) {
			s.Warnings = append(s.Warnings, fmt.Sprintf("session %q of pickup %q is left out: expected times, and good takes of every string set up in one way", first.Session, first.Pickup))
			continue
		}
		s.Values = append(s.Values, Value{label(first), first.First.Time(), x})
	}
	s.sort()
	return nil
}

// figureOf returns the function that works out a figure from a session's cells, one a
// string.
func figureOf(of string) (func([]cell.Cell) float64, error) {
	switch of {
	case Level:
		return meanLevel, nil
	case Spread:
		return spread, nil
	case Scatter:
		return scatter, nil
	}
	n, err := strconv.Atoi(of)
	if err != nil || n < 1 {
		return nil, &NoSeries{fmt.Sprintf("expected %s, %s, %s or a string's number to watch, got %q", Level, Spread, Scatter, of)}
	}
	return func(cells []cell.Cell) float64 {
		if n > len(cells) {
			return math.NaN()
		}
		return levelOf(&cells[n-1]) - meanLevel(cells)
	}, nil
}

// levelOf is a string's level as a verdict has it, dB re 1 mV.
func levelOf(c *cell.Cell) float64 {
	mean, _ := c.Plain()
	return float64(level.Ln(mean).DB())
}

func meanLevel(cells []cell.Cell) float64 {
	var sum float64
	for i := range cells {
		sum += levelOf(&cells[i])
	}
	return sum / float64(len(cells))
}

func spread(cells []cell.Cell) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for i := range cells {
		level := levelOf(&cells[i])
		low, high = min(low, level), max(high, level)
	}
	return high - low
}

func scatter(cells []cell.Cell) float64 {
	var squares, dof float64
	for _, c := range cells {
		_, sd := c.Plain()
		squares += float64(c.Takes-1) * level.PerLn * level.PerLn * sd * sd
		dof += float64(c.Takes - 1)
	}
	return math.Sqrt(squares / dof)
}
