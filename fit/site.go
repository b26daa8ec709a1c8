package fit

import "evenpole/profiles"

// site is one string over one pole, as the model sees it.
type site struct {
	core, gauge  float64 // mm
	wrap         string
	height       float64 // mm, of the pole
	stringHeight float64 // mm, underside
	velocity     float64 // X; 0 when not known
	missing      int     // neighbours that the string lacks: 0, 1 or 2
	spacing      float64 // mm
	field        float64 // ln B; 0 when not measured
}

// gap is the distance from the pole's top to the string's axis, mm.
func (s *site) gap() float64 { return s.stringHeight + s.gauge/2 - s.height }

// siteOf is the site of a cell of a pickup whose highest string is last.
func (c *curve) siteOf(cell *Cell, last int) *site {
	s := &site{core: cell.Core, gauge: max(cell.Gauge, cell.Core), wrap: cell.Wrap, height: cell.PoleHeight, stringHeight: cell.StringHeight}
	if c.Pitch {
		s.velocity = relativeVelocity(c.Excite, cell.Freq, profiles.String{Gauge: s.gauge, Core: s.core, Wrap: s.wrap})
	}
	s.missing = missingNeighbours(cell.String, last)
	s.field = cell.Field
	return s
}

func missingNeighbours(number, last int) int {
	n := 0
	if number == 1 {
		n++
	}
	if number == last {
		n++
	}
	return n
}
