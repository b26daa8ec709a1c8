package curve

import (
	"evenpole/fit/cell"
	"evenpole/profiles"
)

// Site is one string over one pole, as the model sees it.
type Site struct {
	Core, Gauge  float64 // mm
	Wrap         profiles.Wrap
	Height       float64 // mm, of the pole
	StringHeight float64 // mm, underside
	Velocity     float64 // X; 0 when not known
	Missing      int     // neighbours that the string lacks: 0, 1 or 2
	Spacing      float64 // mm
	Field        float64 // ln B; 0 when not measured
}

// Gap is the distance from the pole's top to the string's axis, mm.
func (s *Site) Gap() float64 { return s.StringHeight + s.Gauge/2 - s.Height }

// CellSite is the site of a cell of a pickup whose highest string is last.
func (c *Curve) CellSite(cell *cell.Cell, last int) *Site {
	s := &Site{Core: cell.Core, Gauge: max(cell.Gauge, cell.Core), Wrap: cell.Wrap, Height: cell.PoleHeight, StringHeight: cell.StringHeight}
	if c.Pitch {
		s.Velocity = RelativeVelocity(c.Excite, cell.Freq, profiles.String{Gauge: s.Gauge, Core: s.Core, Wrap: s.Wrap})
	}
	s.Missing = MissingNeighbours(cell.String, last)
	s.Field = cell.Field
	return s
}

func MissingNeighbours(number, last int) int {
	n := 0
	if number == 1 {
		n++
	}
	if number == last {
		n++
	}
	return n
}
