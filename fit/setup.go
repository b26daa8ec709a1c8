package fit

import (
	"evenpole/fit/cell"
	"evenpole/profiles"
)

// Setup is a whole pickup under its strings, but for the heights of its poles:
// all that a prediction needs to know.
type Setup struct {
	Strings          []profiles.String // string 1 first
	StringHeights    []float64         // mm, underside over the bobbin plane
	Spacing          float64           // mm between neighbouring poles, centre to centre
	Poles            profiles.PoleKind
	Batch            string
	Magnets          []string            // which magnet stands under which string; nil when not known
	ScaleLength      float64             // mm, 0 when not known
	PickupFromBridge float64             // mm, 0 when not known
	Excite           profiles.Excitation // how it will be played; "" = as the jig plucks
}

// PlayedBy is the excitation that a prediction is for: as ordered, else as it
// was measured. Nobody plays with an exciter: then a fixed force stands for it.
func (s *Setup) PlayedBy(measured profiles.Excitation) profiles.Excitation {
	switch {
	case s.Excite != "":
		return s.Excite
	case measured == profiles.Drive:
		return profiles.Force
	}
	return measured
}

// cell is one string of a setup over its pole, as a cell without takes.
func (s *Setup) cell(i int, heights []float64) *cell.Cell {
	str := &s.Strings[i]
	return &cell.Cell{Mounting: &cell.Mounting{}, Core: str.Core, Gauge: str.Gauge, Wrap: str.Wrap, PoleHeight: heights[i], StringHeight: s.StringHeights[i]}
}
