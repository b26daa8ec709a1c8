package curve

import (
	"fmt"

	"evenpole/fit/cell"
	"evenpole/fit/solve"
)

// Effect is a random effect of the falloff model: what carries it, and what is
// known of its scatter (ln v; of setup mm) before there are data: our
// assumptions, worth DF observations.
type Effect struct {
	Name   string
	Local  bool // occurs in one pickup only
	Spread solve.Spread
	Level  func(c *cell.Cell) string
}

// Key tells the level that a cell has of this effect from those of all effects.
func (e *Effect) Key(c *cell.Cell) string { return e.Name + e.Level(c) }

// Places in falloffEffects.
const (
	EPickup, EBatch, EPole, EString, EChannel, ESetup, EMagnet = 0, 1, 2, 3, 4, 5, 6
)

var Effects = []Effect{
	{"pickup", true, solve.Spread{SD: 0.15, DF: 3}, func(c *cell.Cell) string { return c.Pickup }},
	{"batch", false, solve.Spread{SD: 0.10, DF: 3}, func(c *cell.Cell) string { return c.Batch }},
	{"pole", true, solve.Spread{SD: 0.05, DF: 4}, func(c *cell.Cell) string { return fmt.Sprintf("%s/%d", c.Pickup, c.String) }},
	{"string", false, solve.Spread{SD: 0.02, DF: 3}, func(c *cell.Cell) string { return fmt.Sprintf("%s/%d/%g/%g", c.Set, c.String, c.Core, c.Gauge) }},
	{"channel", false, solve.Spread{SD: 0.03, DF: 4}, func(c *cell.Cell) string { return fmt.Sprint(c.String) }},
	{"setup", true, solve.Spread{SD: 0.05, DF: 4}, func(c *cell.Cell) string { return c.Pickup + "/" + c.Session }},
	{"magnet", true, solve.Spread{SD: 0.04, DF: 20}, func(c *cell.Cell) string { return Unconcerned }}, // see effects
}

var Sigma = solve.Spread{SD: 0.03, DF: 4}

// Unconcerned is the level of cells that have no part in an effect.
const Unconcerned = "\x00"
