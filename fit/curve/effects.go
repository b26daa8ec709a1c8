package curve

import (
	"fmt"

	"evenpole/fit/cell"
	"evenpole/fit/solve"
)

// Effect is a random effect of the falloff model: what cells of one pickup, one
// pole, one string ... have in common beside the curve. Each of these is a level of
// the effect.
type Effect struct {
	Name   string
	Local  bool                      // a level occurs in one pickup only
	Spread solve.Spread              // prior of the scatter between levels, ln v (of setup mm): our assumptions
	Level  func(c *cell.Cell) string // names the level that a cell belongs to
}

// Key names the level that a cell belongs to, unlike those of all other effects.
func (e *Effect) Key(c *cell.Cell) string { return e.Name + e.Level(c) }

// The places of the effects in Effects, and so in a model's standard deviations.
const (
	PickupEffect   = iota // a pickup's coil
	BatchEffect           // a batch of magnets
	PoleEffect            // a pole of a pickup
	StringEffect          // a string of a set
	SlotEffect            // a slot of the jig
	MountingEffect        // a mounting, by which all its strings lie higher, mm
	MagnetEffect          // a pole whose field was not measured, where others' was
)

// Effects are all random effects. No cell has part in the one of magnets unless
// fields of poles were measured: package fit says which then do.
var Effects = []Effect{
	PickupEffect:   {"pickup", true, solve.Spread{SD: 0.15, DF: 3}, func(c *cell.Cell) string { return c.Pickup }},
	BatchEffect:    {"batch", false, solve.Spread{SD: 0.10, DF: 3}, func(c *cell.Cell) string { return c.Batch }},
	PoleEffect:     {"pole", true, solve.Spread{SD: 0.05, DF: 4}, func(c *cell.Cell) string { return fmt.Sprintf("%s/%d", c.Pickup, c.String) }},
	StringEffect:   {"string", false, solve.Spread{SD: 0.02, DF: 3}, func(c *cell.Cell) string { return fmt.Sprintf("%s/%d/%g/%g", c.Set, c.String, c.Core, c.Gauge) }},
	SlotEffect:     {"channel", false, solve.Spread{SD: 0.03, DF: 4}, func(c *cell.Cell) string { return fmt.Sprint(c.String) }},
	MountingEffect: {"setup", true, solve.Spread{SD: 0.05, DF: 4}, func(c *cell.Cell) string { return c.Pickup + "/" + c.Session }},
	MagnetEffect:   {"magnet", true, solve.Spread{SD: 0.04, DF: 20}, func(*cell.Cell) string { return NoLevel }},
}

// NoLevel is the level of cells that have no part in an effect.
const NoLevel = "\x00"

// ResidualPrior is the prior of the scatter that the curve and all effects leave of
// cells, ln v: our assumption.
var ResidualPrior = solve.Spread{SD: 0.03, DF: 4}
