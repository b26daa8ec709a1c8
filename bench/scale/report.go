package main

import (
	"fmt"
	"math"
	"strings"
)

// report prints what stages cost, as they come.
type report struct {
	bare    cost            // on the log at hand
	before  map[string]cost // on the log before
	rows    map[string]int  // of that
	differs []string
	slope   [2]float64 // of the prototype, with its standard error
}

func (r *report) add(rows int, name string, c cost) {
	if r.before == nil {
		r.before, r.rows = map[string]cost{}, map[string]int{}
		fmt.Printf("%-18s %9s %9s %11s %9s %9s  %s\n", "stage", "rows", "wall s", "processor s", "peak MB", "of bare", "growth of time, memory")
	}
	if name == "bare" {
		r.bare = c
	}
	ratio, growth := "", ""
	if r.bare.processor > 0 {
		ratio = fmt.Sprintf("%.1f", c.processor/r.bare.processor)
	}
	if b, ok := r.before[name]; ok {
		step := math.Log(float64(rows) / float64(r.rows[name]))
		growth = fmt.Sprintf("%.2f, %.2f", math.Log(c.processor/b.processor)/step, math.Log(c.peak/b.peak)/step)
	}
	r.before[name], r.rows[name] = c, rows
	fmt.Printf("%-18s %9d %9.2f %11.2f %9.0f %9s  %s\n", name, rows, c.wall, c.processor, c.peak, ratio, growth)
	r.compare(rows, name, c.said)
}

// compare holds the slope of a peer against the prototype's.
func (r *report) compare(rows int, name, said string) {
	var cells int
	var slope, se float64
	if n, _ := fmt.Sscan(said, &cells, &slope, &se); n < 3 {
		return
	}
	if name == "bare" {
		r.slope = [2]float64{slope, se}
	}
	fmt.Printf("%-18s %9d cells, slope at a gap of %g mm %.4f +- %.4f 1/mm\n", "", cells, usualGap, slope, se)
	// Random effects and a free bend move the slope by more than its error of a plain fit.
	if d := math.Abs(slope - r.slope[0]); r.slope[0] != 0 && d > 4*math.Hypot(se, r.slope[1])+0.02 {
		r.differs = append(r.differs, fmt.Sprintf("%s at %d rows: slope %.4f, the prototype's %.4f", name, rows, slope, r.slope[0]))
	}
}

// agrees is an error when a peer's slope is another.
func (r *report) agrees() error {
	if len(r.differs) > 0 {
		return fmt.Errorf("estimates differ: %s", strings.Join(r.differs, "; "))
	}
	return nil
}
