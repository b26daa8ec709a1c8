package fit

import (
	"fmt"
	"strings"

	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// Predictor is what package plan needs of a model, whichever kind it is.
type Predictor interface {
	// Level writes the mean prediction of ln v (v in RMS mV) of every string
	// into dst, for poles of the given heights (mm), and returns dst; a nil dst
	// is allocated. It is cheap: planning calls it many times.
	Level(dst []float64, s *Setup, heights []float64) []float64
	// Uncertainty returns the covariance of the errors of Level (ln v) for one
	// built pickup whose poles have exactly these heights: the model's own
	// uncertainty, plus what differs from one built pickup to the next (magnets
	// that were not matched, strings within their tolerance). A part that all
	// strings share does not matter to balance and may be left out.
	Uncertainty(s *Setup, heights []float64) *mat.SymDense
	// Warnings says in plain words where this setup at these heights lies outside
	// of what was measured or what the model can tell.
	Warnings(s *Setup, heights []float64) []string
	// Source is "shop data" or "handbook prior".
	Source() string
}

// Model is a fitted model of any kind. It can be written as JSON, and its kind
// reads that again.
type Model interface {
	Predictor
	// Kind is the name of its kind, as in Kinds.
	Kind() string
	// Parameters lists the estimates in the units in which people read them.
	Parameters() []Parameter
	// FieldExponent is by how much ln v rises with ln B of a pole's field, and its
	// standard error; not ok in a model without it.
	FieldExponent() (b, se float64, ok bool)
	// PoleSD and PickupSD are the standard deviations from pole to pole and from
	// pickup to pickup; not ok in a model without them.
	PoleSD() (sd level.Ln, ok bool)
	PickupSD() (sd level.Ln, ok bool)
	// ResidualSD is the standard deviation of cells' residuals.
	ResidualSD() level.DB
	// Measured is the range of what it was fitted to.
	Measured() Range
	// Notes says in plain words what the data could not tell, and which
	// capture would tell it.
	Notes() []string
	// Expect returns the mean prediction of ln v for cells of one pickup that
	// the model has not seen; NaN for a cell that it cannot predict.
	Expect(cells []cell.Cell) []float64
}

// Parameter is an estimate with its standard error. FromData is the share of the
// information on it that the data gave, 0 to 1; the rest is its prior's.
type Parameter struct {
	Name     string  `json:"name"`
	Value    float64 `json:"value"`
	SE       float64 `json:"se"`
	Unit     string  `json:"unit"`
	FromData float64 `json:"from_data"`
	Prior    *Prior  `json:"prior"` // nil for a parameter that has none
}

// Prior is what a parameter was taken to be before there were data, in its unit.
type Prior struct {
	Value float64 `json:"value"`
	SE    float64 `json:"se"`
}

// In is the parameter as it is told in units: lengths, and what is by the length.
func (p Parameter) In(u profiles.Units) Parameter {
	factor, unit := u.Of(p.Unit)
	p.Value, p.SE, p.Unit = factor*p.Value, factor*p.SE, unit
	if p.Prior != nil {
		p.Prior = &Prior{factor * p.Prior.Value, factor * p.Prior.SE}
	}
	return p
}

// CannotFitError says that the data carry no model, and which data would.
type CannotFitError struct{ Have, Need string }

func (e *CannotFitError) Error() string {
	return fmt.Sprintf("no model can be fitted: %s; %s", e.Have, e.Need)
}

// noTake says that data have no cell, why each row is in none, and what they need.
func noTake(d *cell.Data, need string) *CannotFitError {
	have := "no good take among " + profiles.Count(d.Readings, "reading")
	var left []string
	for _, l := range d.LeftOut {
		left = append(left, l.String())
	}
	if left != nil {
		have += "; left out: " + strings.Join(left, ", ")
	}
	return &CannotFitError{have, need}
}

// The Source of a model.
const (
	fromReadings = "shop data"
	fromHandbook = "handbook prior" // it has seen no reading
)
