package fit

import (
	"math"
	"slices"
	"strings"

	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/profiles"
)

// The log-linear models: ln v of a cell is its pickup's level plus a sum of terms, each
// in proportion to one length that a bench measures,
//
//	ln v = level(pickup) + sum_j b_j x_j + e
//
// by least squares over cells, all of one weight. Pickups' levels are
// eliminated first. The residual e holds magnets, strings and the errors of heights. A
// magnet's share of it is the same in all cells of its pole, but is taken for
// independent here, so that standard errors come out somewhat small.

// term is one x of a log-linear model.
type term struct {
	name       string
	unit       string
	sign       float64                    // of the estimate, by physics
	value      func(c *cell.Cell) float64 // x
	moved      func(c *cell.Cell) float64 // the length that has to differ for the data to tell it; nil = value
	leastMoved float64                    // the root mean square by which it has to differ apart from the terms before
	cannotTell string                     // note where it did not: why, and which capture would tell
}

// The terms. Heights have to differ by as much as they can be measured to; cores by
// as much as one gauge differs from the next.
var (
	onPoleHeight = term{
		name: "pole_height", unit: "dB/mm", sign: 1, leastMoved: 0.05,
		value:      func(c *cell.Cell) float64 { return c.PoleHeight },
		cannotTell: "pole heights did not differ within a pickup, so that their effect cannot be told: capture pickups whose poles differ by a millimetre or more",
	}
	onStringHeight = term{
		name: "string_height", unit: "dB/mm", sign: -1, leastMoved: 0.05,
		value:      func(c *cell.Cell) float64 { return c.StringHeight + c.Radius() },
		moved:      func(c *cell.Cell) float64 { return c.StringHeight },
		cannotTell: "string heights did not differ within a pickup, so that the effect of the gap cannot be told from that of the pole height: capture a pickup again with its strings a millimetre higher",
	}
	onGap = term{
		name: "gap", unit: "dB/mm", sign: -1, leastMoved: 0.05,
		value:      func(c *cell.Cell) float64 { return c.Gap() + c.Radius() },
		moved:      (*cell.Cell).Gap,
		cannotTell: "gaps did not differ within a pickup, so that their effect cannot be told: capture pickups whose poles differ by a millimetre or more",
	}
	onCore = term{
		name: "core", unit: "dB per ln mm", sign: 1, leastMoved: 0.02,
		value:      func(c *cell.Cell) float64 { return math.Log(c.Core) },
		cannotTell: "cores did not differ within a pickup, so that strings of another core cannot be told from these: capture a set of other gauges",
	}
)

// words is the term's name as people say it.
func (t term) words() string { return strings.ReplaceAll(t.name, "_", " ") }

// logKind is a kind of log-linear model.
type logKind struct {
	name  string
	terms []term // in the order in which they are taken in
}

// logHeight takes pole height and, where it differed apart from that, string height:
// together they are the gap and the effect of a pole's height at a given gap. logGap
// takes the gap alone. Both run to the string's axis, which predicts pickups left out
// better than to its underside.
var (
	logHeight = logKind{"loglinear-height", []term{onPoleHeight, onCore, onStringHeight}}
	logGap    = logKind{"loglinear-gap", []term{onGap, onCore}}
)

// logLinear is a fitted log-linear model: the state in its file.
type logLinear struct {
	kind  string
	terms []term // as named by Terms

	Terms   []string            `json:"terms"`
	B       []float64           `json:"b"`          // ln v per unit of x
	Cov     [][]float64         `json:"covariance"` // of B
	Centre  []float64           `json:"centre"`     // x of the mean pickup
	Mean    float64             `json:"level"`      // ln v of the mean pickup, there
	MeanSE  float64             `json:"level_se"`
	SD      float64             `json:"residual_sd"` // ln v
	Excite  profiles.Excitation `json:"excite"`      // of the cells that it was fitted to
	Range   Range               `json:"range"`
	Remarks []string            `json:"notes"`

	fitted *logLeaver // what it was fitted to; nil for a model from a file
}

func (m *logLinear) Kind() string { return m.kind }

func (m *logLinear) Source() string { return fromReadings }

func (m *logLinear) Notes() []string { return slices.Clone(m.Remarks) }

func (m *logLinear) ResidualSD() level.DB { return level.Ln(m.SD).DB() }

func (m *logLinear) Measured() Range { return m.Range }

func (m *logLinear) Parameters() []Parameter {
	out := []Parameter{{Name: "level", Value: level.PerLn * m.Mean, SE: level.PerLn * m.MeanSE, Unit: "dB re 1 mV", FromData: 1}}
	for j, t := range m.terms {
		out = append(out, Parameter{Name: t.name, Value: level.PerLn * m.B[j], SE: level.PerLn * math.Sqrt(m.Cov[j][j]), Unit: t.unit, FromData: 1})
	}
	return out
}

// at is the mean prediction for one cell of the mean pickup.
func (m *logLinear) at(c *cell.Cell) float64 {
	y := m.Mean
	for j, t := range m.terms {
		y += m.B[j] * (t.value(c) - m.Centre[j])
	}
	return y
}

func (m *logLinear) FieldExponent() (b, se float64, ok bool) { return 0, 0, false }
func (m *logLinear) PoleSD() (sd level.Ln, ok bool)          { return 0, false }
func (m *logLinear) PickupSD() (sd level.Ln, ok bool)        { return 0, false }

func (m *logLinear) knowsHeights() bool { return m.has(onPoleHeight) || m.has(onGap) }

func (m *logLinear) has(t term) bool { return slices.Contains(m.Terms, t.name) }
