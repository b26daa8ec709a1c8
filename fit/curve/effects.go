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
	Local  bool                           // a level occurs in one pickup only
	Spread solve.Spread                   // prior of the scatter between levels, ln v (of setup mm): our assumptions
	Level  func(c *cell.Cell) EffectLevel // the level that a cell belongs to
}

// Key names the level that a cell belongs to, unlike those of all other effects.
func (e *Effect) Key(c *cell.Cell) string { return e.Name + e.Level(c).String() }

// EffectLevel is what the cells of one level of an effect have in common.
type EffectLevel struct {
	Pickup, Name string
	Number       int     // of the string
	Core, Gauge  float64 // mm
	None         bool    // cells that have no part in the effect
}

// String names a level, unlike all others of its effect.
func (l EffectLevel) String() string {
	switch {
	case l.Core != 0:
		return fmt.Sprintf("%s/%d/%g/%g", l.Name, l.Number, l.Core, l.Gauge)
	case l.Pickup != "" && l.Number != 0:
		return fmt.Sprintf("%s/%d", l.Pickup, l.Number)
	case l.Pickup != "" && l.Name != "":
		return l.Pickup + "/" + l.Name
	case l.Name != "" && l.Number != 0:
		return fmt.Sprintf("%s/%d", l.Name, l.Number)
	case l.Number != 0:
		return fmt.Sprint(l.Number)
	}
	return l.Pickup + l.Name
}

// The places of the effects in Effects, and so in a model's standard deviations.
const (
	PickupEffect   = iota // a pickup's coil
	BatchEffect           // a batch of magnets
	PoleEffect            // a pole of a pickup
	StringEffect          // a string of a set
	SlotEffect            // a slot of the jig
	MountingEffect        // a mounting, by which all its strings lie higher, mm
	MagnetEffect          // a pole whose field was not measured, where others' was
	RecorderEffect        // levels of a pickup that are in no known unit
	JigEffect             // a jig, where there are several
)

// Effects are all random effects. No cell has part in the one of magnets unless
// fields of poles were measured, nor in that of jigs unless there are several: package fit
// says which then do.
var Effects = []Effect{
	PickupEffect: {"pickup", true, solve.Spread{SD: 0.15, DF: 3}, func(c *cell.Cell) EffectLevel { return EffectLevel{Pickup: c.Pickup} }},
	BatchEffect:  {"batch", false, solve.Spread{SD: 0.10, DF: 3}, func(c *cell.Cell) EffectLevel { return EffectLevel{Name: c.Batch} }},
	PoleEffect:   {"pole", true, solve.Spread{SD: 0.05, DF: 4}, func(c *cell.Cell) EffectLevel { return EffectLevel{Pickup: c.Pickup, Number: c.String} }},
	StringEffect: {"string", false, solve.Spread{SD: 0.02, DF: 3}, func(c *cell.Cell) EffectLevel {
		return EffectLevel{Name: c.Set, Number: c.String, Core: c.Core, Gauge: c.Gauge}
	}},
	SlotEffect: {"channel", false, solve.Spread{SD: 0.03, DF: 4}, func(c *cell.Cell) EffectLevel {
		if c.ByHand { // a recorder has one input for all strings; a hand may favour one
			return EffectLevel{Name: "hand", Number: c.String}
		}
		return EffectLevel{Number: c.String}
	}},
	MountingEffect: {"setup", true, solve.Spread{SD: 0.05, DF: 4}, func(c *cell.Cell) EffectLevel { return EffectLevel{Pickup: c.Pickup, Name: c.Session} }},
	MagnetEffect:   {"magnet", true, solve.Spread{SD: 0.04, DF: 20}, noLevel},
	RecorderEffect: {"recorder", true, solve.Spread{SD: recorderSD, DF: recorderDF}, func(c *cell.Cell) EffectLevel {
		return EffectLevel{Pickup: c.Pickup, Name: c.Scale, None: c.Scale == ""}
	}},
	JigEffect: {"jig", false, solve.Spread{SD: 0.05, DF: 3}, noLevel},
}

func noLevel(*cell.Cell) EffectLevel { return EffectLevel{None: true} }

// JigLevel is the level of a cell's jig, where the effect is had. What a hand plucked for a
// recorder is of no jig.
func JigLevel(c *cell.Cell) EffectLevel { return EffectLevel{Name: c.Jig, None: c.ByHand} }

// Nothing is known of a recorder's gain beforehand, ln v, and none is learnt of it: the
// scatter of gains stays as it is.
const (
	recorderSD = 3
	recorderDF = 1e4
)

// ResidualPrior is the prior of the scatter that the curve and all effects leave of
// cells, ln v: our assumption.
var ResidualPrior = solve.Spread{SD: 0.03, DF: 4}
