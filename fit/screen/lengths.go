package screen

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"evenpole/fit/cell"
)

// lengthColumn is a column of lengths that people type.
type lengthColumn struct {
	columns       []string
	name          string
	get           func(c *cell.Cell) float64
	put           func(c *cell.Cell, v float64)
	decimal, swap string // kinds of mistake: a decimal slip, and two values swapped ("" when they are not looked for)
}

var (
	poleLength = &lengthColumn{[]string{"pole_height_mm"}, "pole height",
		func(c *cell.Cell) float64 { return c.PoleHeight }, func(c *cell.Cell, v float64) { c.PoleHeight = v }, DecimalPole, SwappedPoles}
	heightLength = &lengthColumn{[]string{"string_height_mm"}, "string height",
		func(c *cell.Cell) float64 { return c.StringHeight }, func(c *cell.Cell, v float64) { c.StringHeight = v }, DecimalHeight, SwappedHeights}
	steelLength = &lengthColumn{[]string{"core_mm", "gauge_mm"}, "core",
		func(c *cell.Cell) float64 { return c.Core }, putSteel, DecimalSteel, ""}
	lengths = []*lengthColumn{poleLength, heightLength, steelLength}
)

// putSteel sets a core, to the digits that files have, and the gauge with it.
func putSteel(c *cell.Cell, core float64) {
	c.Gauge = math.Round(c.Gauge*core/c.Core*1e4) / 1e4
	c.Core = math.Round(core*1e4) / 1e4
}

// factor leads from a length as typed to the one that was meant. rare is ln of how
// much rarer than a slip of one digit it is: our assumptions.
type factor struct {
	by     float64
	inches bool
	rare   float64
	words  string
}

var factors = []factor{
	{10, false, 0, "a slip for"},
	{0.1, false, 0, "a slip for"},
	{0.01, false, 1.5, "a slip for"},
	{25.4, true, 0, "typed in inches, for"},
	{1 / 25.4, true, 2, "typed in an inch column, for"},
}

// How far two lengths may lie apart, mm, and be one.
const (
	sameDigits   = 0.006 // typed twice from one list
	sameHeight   = 0.03  // typed in two units
	sameMeasured = 0.15  // measured twice

	leastChange = 2 * sameHeight // a mistake that changes less shows in no level
)

const sameSteel = 0.02 // of cores in two units, ln: as files round them

// mm writes a length as it was typed, more or less.
func mm(v float64) string { return fmt.Sprintf("%.4g", v) }

// shown is a length to the digits that mm writes, of a few mm.
func shown(v float64) float64 {
	if math.Abs(v) < 1 {
		return math.Round(v*1e4) / 1e4
	}
	return math.Round(v*1e3) / 1e3
}

// decimals is how many decimals a number was written with.
func decimals(v float64) int {
	_, after, _ := strings.Cut(strconv.FormatFloat(v, 'f', -1, 64), ".")
	return len(after)
}
