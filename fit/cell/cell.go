// Package cell makes cells of a record's readings: a cell is what all good takes of
// one string over one pole in one session say together, and the unit that models are
// fitted to.
//
// The way through it:
//
//   - lines.go: which lines of which files something stands on.
//   - instant.go: a point in time.
//   - take.go: one take, its level, and what a cell's takes say beside their mean.
//   - cell.go: Cell, with what can be and what cannot.
//   - data.go: Data, a record as models see it: the cells, and what was left out and why;
//     fingerprint.go: a digest of all that a model can learn from them.
//   - key.go: what tells cells apart, and ids.go, numbers that stand for what comes again.
//   - sums.go: what the takes of a cell say together.
//   - making.go: the cells in the making; they are summed up early, so that memory grows
//     with cells and not with rows.
//   - gather.go: Gather, one pass over the rows of readings files. Which rows count is
//     not decided here: it asks [record.Standing].
//   - packing.go: cells in the making as bytes, and what such bytes may say.
//   - gathering.go: Gathering, which goes on with a file that has grown.
//   - tuning.go: the pitch of strings whose frequency was not measured.
//   - fields.go: AddFields, what a fields file knows of the magnets.
//   - driven.go: driven cells as plucked ones, where both were captured (JoinDriven);
//     equivalent.go: two rows of poles as one.
//   - parts.go: the cells of one pickup, one session, one string set.
//   - sets.go: the string sets that a record knows.
//
// Cells as a shop fits them are gained, have their fields in and are screened, in
// that order: package shop does so.
package cell

import (
	"fmt"
	"strings"

	"evenpole/capture/record"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// Cell is what all good takes of one string over one pole in one session say
// together: the unit that models are fitted to. Lengths in mm.
//
// A record has a million of them: what many have in common stands once, in their
// Mounting, and what holds pointers comes first, as the garbage collector looks no
// further.
type Cell struct {
	*Mounting // many cells have the same one, so that it is altered by Remount alone

	Wrap      profiles.Wrap // Unnamed when a wound string's is not told
	Rows      []Span        // where the takes stand, flagged ones among them
	TakeStats *TakeStats    // what its takes say beside Mean and SD; nil when not gathered

	String       int // 1 is the highest-pitched string
	Core         float64
	Gauge        float64 // 0 when a wound string's is not known
	PoleHeight   float64 // with two coils Equivalent
	StringHeight float64

	Takes int     // good takes that Mean stands for
	Mean  float64 // robust mean of ln v, v in mV: Huber's, see solve.RobustMean
	SD    float64 // of one take, ln v; 0 for a single take
	Freq  float64 // median, Hz; by its note where it was not measured; 0 when it is not known
	First Instant // of the first good take; none when the rows have no time

	Weight float64 // how far to trust it: 1, or less for a suspect cell, by package screen

	Field      float64 // ln of the flux density over its pole against others of its batch: see AddFields
	FieldKnown bool    // it was measured

	UsualPitch bool // Freq is what such strings usually sound at: none was measured
}

// Mounting is what the cells of one pickup in one session have in common, where their
// takes were made in one way.
type Mounting struct {
	Pickup  string
	Session string         // a second mounting of the same pickup is another cell
	Set     string         // string set, "" when not named
	Under   profiles.Under // what is under the strings where it is not one pole each
	Batch   string
	Jig     string              // "" when not told
	Mode    record.Mode         // Pluck or Drive
	Excite  profiles.Excitation // "" when not told
	Scale   string              // "" where levels are of mV; else of levels that compare with those of this scale alone
	ByHand  bool                // plucked into a recorder, and not by a jig
}

// Remount gives the cell a mounting of its own, which is the same but for a change.
func (c *Cell) Remount(change func(m *Mounting)) {
	m := *c.Mounting
	change(&m)
	c.Mounting = &m
}

// Remounting returns what alters mountings by those of other cells. Cells that share a
// mounting share the altered one, too, where they come in a row.
func Remounting(change func(m, other *Mounting)) func(c, other *Cell) {
	var from, by, to *Mounting
	return func(c, other *Cell) {
		if c.Mounting != from || other.Mounting != by {
			from, by = c.Mounting, other.Mounting
			c.Remount(func(m *Mounting) { change(m, by) })
			to = c.Mounting
		}
		c.Mounting = to
	}
}

// Unnamed is the wrap of a wound string whose wrap the record does not name.
const Unnamed profiles.Wrap = "wound"

// Plain is the arithmetic mean of the takes, ln v, and the standard deviation of
// one of them, 0 for a single take: what a verdict is made by, in which every take
// counts alike.
func (c *Cell) Plain() (mean, sd float64) {
	if c.TakeStats == nil {
		return c.Mean, c.SD
	}
	return c.TakeStats.Mean, c.TakeStats.SD
}

// Trust is the cell's weight; cells that were not gathered have all of it.
func (c *Cell) Trust() float64 {
	if c.Weight == 0 {
		return 1
	}
	return c.Weight
}

// Suspected reports whether a mistake is thought to touch the cell.
func (c *Cell) Suspected() bool { return c.Trust() < 1 }

// Gap is the distance from the top of the pole to the underside of the string
// at rest, mm.
func (c *Cell) Gap() float64 { return c.StringHeight - c.PoleHeight }

// Radius of the string, mm.
func (c *Cell) Radius() float64 { return max(c.Gauge, c.Core) / 2 }

// Lines names the cell's lines, such as "4-12, 30"; those of a file but the
// first are marked with its number.
func (c *Cell) Lines() string {
	var out []string
	for _, s := range c.Rows {
		text := fmt.Sprint(s.First)
		if s.Last > s.First {
			text += fmt.Sprint("-", s.Last)
		}
		if s.File > 0 {
			text += fmt.Sprintf(" of file %d", s.File+1)
		}
		out = append(out, text)
	}
	return strings.Join(out, ", ")
}

// Lengths beyond these, mm, are slips or in another unit: no string has such a
// core, and none is heard at such a gap (common practice).
const (
	leastCore, mostCore = 0.1, 4
	mostGap             = 20
)

// Why there can be no cell of a row.
const (
	lacksCell    = "lacks string, core or height"
	isImpossible = "diameters or heights that cannot be: a slip, or another unit"
)

// fault says why there can be no cell of a string with these diameters and heights,
// mm; "" when there can.
func fault(number int, core, gauge, poleHeight, stringHeight float64) string {
	switch {
	case number < 1 || !solve.Finite(core+poleHeight+stringHeight+gauge) || core == 0:
		return lacksCell
	case core < leastCore || core > mostCore || gauge != 0 && gauge < core:
		return isImpossible
	case poleHeight >= stringHeight || stringHeight-poleHeight > mostGap:
		return isImpossible
	}
	return ""
}

// Fault says what about a cell's lengths cannot be, and in which columns of a
// readings file; "" when there can be such a cell.
func (c *Cell) Fault() (columns []string, cause string) {
	mm := func(v float64) string { return fmt.Sprintf("%.4g", v) }
	switch {
	case fault(c.String, c.Core, c.Gauge, c.PoleHeight, c.StringHeight) == "":
		return nil, ""
	case c.Core < leastCore || c.Core > mostCore:
		return []string{"core_mm"}, fmt.Sprintf("core %s mm of string %d: no string has such a core (%g to %g mm)", mm(c.Core), c.String, leastCore, float64(mostCore))
	case c.Gauge != 0 && c.Gauge < c.Core:
		return []string{"core_mm", "gauge_mm"}, fmt.Sprintf("gauge %s mm of string %d is below its core, %s mm", mm(c.Gauge), c.String, mm(c.Core))
	case c.PoleHeight >= c.StringHeight:
		return []string{"pole_height_mm", "string_height_mm"}, fmt.Sprintf("pole height %s mm of string %d stands in the string, at %s mm", mm(c.PoleHeight), c.String, mm(c.StringHeight))
	}
	return []string{"pole_height_mm", "string_height_mm"}, fmt.Sprintf("string %d at %s mm over a pole of %s mm: none is heard beyond a gap of %d mm", c.String, mm(c.StringHeight), mm(c.PoleHeight), mostGap)
}

// shift changes a cell's level, ln. What its takes say is copied, as cells may share it.
func (c *Cell) shift(by float64) {
	c.Mean += by
	if c.TakeStats != nil {
		stats := *c.TakeStats
		stats.Mean += by
		c.TakeStats = &stats
	}
}
