package fit

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
)

// Model is a fitted model of any kind. It can be written as JSON, and its kind
// reads that again.
type Model interface {
	Predictor
	// Kind is the name of its kind, as in Kinds.
	Kind() string
	// Parameters lists the estimates in the units in which people read them.
	Parameters() []Parameter
	// ResidualSD is the standard deviation of what the model leaves of a
	// cell's level, dB.
	ResidualSD() float64
	// Notes says in plain words what the data could not tell, and which
	// capture would.
	Notes() []string
	// Expect returns the mean prediction of ln v for cells of one pickup that
	// the model has not seen; NaN for a cell that it says nothing of.
	Expect(cells []Cell) []float64
}

// Parameter is an estimate with its standard error.
type Parameter struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	SE    float64 `json:"se"`
	Unit  string  `json:"unit"`
}

// Kind is a way to fit a model. A new kind is one file and one line in kinds.
type Kind struct {
	Name   string
	Fit    func(d *Data) (Model, error)
	decode func(state []byte) (Model, error)

	// refit returns how to fit fewer data like those of a fitted model, for
	// cross-validation; nil = Fit.
	refit func(m Model) func(d *Data) (Model, error)
}

// kinds are all there are, simplest first.
var kinds = []Kind{logHeight.kind(), logGap.kind(), falloffKind}

// Kinds names the kinds of model, simplest first.
func Kinds() []string {
	var names []string
	for _, k := range kinds {
		names = append(names, k.Name)
	}
	return names
}

func kindOf(name string) (Kind, error) {
	for _, k := range kinds {
		if k.Name == name {
			return k, nil
		}
	}
	return Kind{}, fmt.Errorf("expected a kind of model (%s), got %q", strings.Join(Kinds(), ", "), name)
}

// CannotFitError says that the data carry no model, and what would.
type CannotFitError struct{ Have, Need string }

func (e *CannotFitError) Error() string {
	return fmt.Sprintf("no model can be fitted: %s; %s", e.Have, e.Need)
}

// Result is a fitted model with what is known of it. Program and Created are
// the caller's to set before it is written.
type Result struct {
	Report
	Model       Model
	Fingerprint string // of the data, see Data.Fingerprint
	Program     string // version of the program that fitted it
	Created     time.Time
}

// Report is what a fit says of itself, as JSON. Deviations are in dB.
type Report struct {
	Kind       string      `json:"model"`
	Readings   int         `json:"n_readings"` // rows read, quiet levels and flagged takes among them
	Used       int         `json:"n_used"`     // takes that the model stands on
	Cells      int         `json:"n_cells"`
	Pickups    int         `json:"n_pickups"`
	Parameters []Parameter `json:"parameters"`
	ResidualSD float64     `json:"residual_sd_db"`
	CVBalance  *float64    `json:"cv_rms_db"`       // see CrossValidate; nil when it cannot be told
	CVLevel    *float64    `json:"cv_rms_level_db"` // likewise
	Compared   []Score     `json:"compared"`        // kinds that Best chose among
	LeftOut    []LeftOut   `json:"left_out"`
	Warnings   []string    `json:"warnings"`
}

// Score is how well a kind of model predicts pickups that it has not seen.
type Score struct {
	Kind      string   `json:"model"`
	CVBalance *float64 `json:"cv_rms_db"`
	CVLevel   *float64 `json:"cv_rms_level_db"`
}

// Fit fits a model of one kind and judges it on pickups left out in turn. Data
// that carry no such model are a *CannotFitError.
func Fit(d *Data, kind string) (*Result, error) {
	k, err := kindOf(kind)
	if err != nil {
		return nil, err
	}
	return k.result(d)
}

func (k Kind) result(d *Data) (*Result, error) {
	m, err := k.Fit(d)
	if err != nil {
		return nil, err
	}
	again := k.Fit
	if k.refit != nil {
		again = k.refit(m)
	}
	cv := CrossValidate(d, again)
	r := &Result{
		Model:       m,
		Fingerprint: d.Fingerprint(),
		Report: Report{
			Kind: k.Name, Readings: d.Readings,
			Parameters: m.Parameters(), ResidualSD: m.ResidualSD(), CVBalance: cv.Balance, CVLevel: cv.Level,
			Compared: []Score{}, LeftOut: append([]LeftOut{}, d.LeftOut...), Warnings: append(append([]string{}, m.Notes()...), cv.Notes...),
		},
	}
	r.count(d)
	return r, nil
}

// count counts what the model stands on: the cells that it says something of.
func (r *Result) count(d *Data) {
	for _, p := range d.Pickups() {
		_, own := d.Split(p)
		cells := r.Cells
		for i, y := range r.Model.Expect(own) {
			if !math.IsNaN(y) {
				r.Cells++
				r.Used += own[i].Takes
			}
		}
		if r.Cells > cells {
			r.Pickups++
		}
	}
}

// Best fits every kind and returns the one that predicts the balance of
// pickups left out best; the simplest that fits where that cannot be told. The
// error, when none fits, is the simplest kind's.
func Best(d *Data) (*Result, error) {
	var best *Result
	var first error
	var scores []Score
	for _, k := range kinds {
		r, err := k.result(d)
		if err != nil {
			first = cmp.Or(first, err)
			continue
		}
		scores = append(scores, Score{r.Kind, r.CVBalance, r.CVLevel})
		if best == nil || lower(r.CVBalance, best.CVBalance) {
			best = r
		}
	}
	if best == nil {
		return nil, cmp.Or(first, errors.New("no kind of model"))
	}
	best.Compared = scores
	return best, nil
}

// lower reports whether a is a smaller figure than b, where nil is none.
func lower(a, b *float64) bool { return a != nil && (b == nil || *a < *b) }

// dB turns a difference in ln v into decibels.
const dB = 20 / math.Ln10
