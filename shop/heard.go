package shop

import (
	"math"

	"evenpole/fit/cell"
	"evenpole/fit/level"
)

// Heard is how loud a string of a session was, as recorded: without a jig's gain.
type Heard struct {
	String       int          `json:"string"`
	Core         float64      `json:"core_mm"`
	PoleHeight   float64      `json:"pole_height_mm"`
	StringHeight float64      `json:"string_height_mm"`
	Level        float64      `json:"level_mv"`   // RMS, of the mean of its takes' logarithms
	Balance      level.Figure `json:"balance_db"` // against the mean of all strings
	Scatter      level.Figure `json:"scatter_db"` // standard deviation of one take; not known of a single one
	Takes        int          `json:"takes"`      // that count
}

// heardOf tells how loud a session's strings were, and all of them together in mV; takes
// count alike, as in a check.
func heardOf(cells []cell.Cell) (strings []Heard, mean float64) {
	var sum float64
	for i := range cells {
		c := &cells[i]
		ln, sd := c.Plain()
		sum += ln / float64(len(cells))
		h := Heard{String: c.String, Core: c.Core, PoleHeight: c.PoleHeight, StringHeight: c.StringHeight, Level: math.Exp(ln), Scatter: level.Figure(sd * level.PerLn), Takes: c.Takes}
		if c.Takes < 2 {
			h.Scatter = level.Figure(math.NaN())
		}
		strings = append(strings, h)
	}
	for i := range strings {
		strings[i].Balance = level.Figure(level.PerLn * (math.Log(strings[i].Level) - sum))
	}
	return strings, math.Exp(sum)
}
