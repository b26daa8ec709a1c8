package fit

import "fmt"

// effect is a random effect of the falloff model: what carries it, and what is
// known of its scatter (ln v; of setup mm) before there are data: our
// assumptions, worth DF observations.
type effect struct {
	name   string
	local  bool // occurs in one pickup only
	spread Spread
	level  func(c *Cell) string
}

// key tells the level that a cell has of this effect from those of all effects.
func (e *effect) key(c *Cell) string { return e.name + e.level(c) }

// Places in falloffEffects.
const (
	ePickup, eBatch, ePole, eString, eChannel, eSetup, eMagnet = 0, 1, 2, 3, 4, 5, 6
)

var falloffEffects = []effect{
	{"pickup", true, Spread{0.15, 3}, func(c *Cell) string { return c.Pickup }},
	{"batch", false, Spread{0.10, 3}, func(c *Cell) string { return c.Batch }},
	{"pole", true, Spread{0.05, 4}, func(c *Cell) string { return fmt.Sprintf("%s/%d", c.Pickup, c.String) }},
	{"string", false, Spread{0.02, 3}, func(c *Cell) string { return fmt.Sprintf("%s/%d/%g/%g", c.Set, c.String, c.Core, c.Gauge) }},
	{"channel", false, Spread{0.03, 4}, func(c *Cell) string { return fmt.Sprint(c.String) }},
	{"setup", true, Spread{0.05, 4}, func(c *Cell) string { return c.Pickup + "/" + c.Session }},
	{"magnet", true, Spread{0.04, 20}, func(c *Cell) string { return unconcerned }}, // see effects
}

var falloffSigma = Spread{0.03, 4}

// unconcerned is the level of cells that have no part in an effect.
const unconcerned = "\x00"
