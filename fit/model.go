package fit

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"strings"

	"evenpole/fit/cell"
	"evenpole/fit/solve"
)

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
	// PoleSD and PickupSD are the standard deviations of ln v from pole to pole
	// and from pickup to pickup; not ok in a model without them.
	PoleSD() (sd float64, ok bool)
	PickupSD() (sd float64, ok bool)
	// ResidualSD is the standard deviation of what the model leaves of a
	// cell's level, dB.
	ResidualSD() float64
	// Measured is the range of what it was fitted to.
	Measured() Range
	// Notes says in plain words what the data could not tell, and which
	// capture would.
	Notes() []string
	// Expect returns the mean prediction of ln v for cells of one pickup that
	// the model has not seen; NaN for a cell that it says nothing of.
	Expect(cells []cell.Cell) []float64
}

// Parameter is an estimate with its standard error. FromData is the share of
// what is known of it that the data told, 0 to 1; the rest was known before.
type Parameter struct {
	Name     string  `json:"name"`
	Value    float64 `json:"value"`
	SE       float64 `json:"se"`
	Unit     string  `json:"unit"`
	FromData float64 `json:"from_data"`
}

// Kind is a way to fit a model. A new kind is one file and one line in kinds.
type Kind struct {
	Name   string
	Fit    func(d *cell.Data) (Model, error)
	decode func(state []byte) (Model, error)

	// refit returns how to fit fewer data like those of a fitted model, for
	// cross-validation; nil = Fit.
	refit func(m Model) func(d *cell.Data) (Model, error)
}

// kinds are all there are. Where the data cannot tell which predicts best, the
// first that can be fitted stands: the falloff model knows from the handbook
// what few data do not say, and of the others the one on height is the plainer.
var kinds = []Kind{falloffKind, logHeight.kind(), logGap.kind()}

// Kinds names the kinds of model, in the order in which they are preferred
// where the data cannot tell.
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

// Again is how a model's kind fits other data like those of the model: fewer, for
// one, as it leaves pickups out.
func Again(m Model) (func(*cell.Data) (Model, error), error) {
	k, err := kindOf(m.Kind())
	if err != nil {
		return nil, err
	}
	if k.refit != nil {
		return k.refit(m), nil
	}
	return k.Fit, nil
}

// CannotFitError says that the data carry no model, and what would.
type CannotFitError struct{ Have, Need string }

func (e *CannotFitError) Error() string {
	return fmt.Sprintf("no model can be fitted: %s; %s", e.Have, e.Need)
}

// Result is a fitted model with what is known of it. Program and History are
// the caller's to set before it is written.
type Result struct {
	Report
	Model       Model
	Fingerprint string   // of the data, see Data.Fingerprint
	Program     string   // version of the program that fitted it
	History     *History // nil for a model outside a shop

	folds map[string][]Fold // by kind: pickups left out; not in the file
}

// Report is what a fit says of itself, as JSON. Deviations are in dB.
type Report struct {
	Kind       string         `json:"model"`
	Readings   int            `json:"n_readings"` // rows read, quiet levels and flagged takes among them
	Used       int            `json:"n_used"`     // takes that the model stands on
	Cells      int            `json:"n_cells"`
	Pickups    int            `json:"n_pickups"`
	Parameters []Parameter    `json:"parameters"`
	ResidualSD float64        `json:"residual_sd_db"`
	CVBalance  *float64       `json:"cv_rms_db"`       // see CrossValidate; nil when it cannot be told
	CVLevel    *float64       `json:"cv_rms_level_db"` // likewise
	CVSet      *float64       `json:"cv_set_rms_db"`   // likewise, whole string sets left out
	CVPickups  []Fold         `json:"pickups"`         // every pickup in the data
	CVSets     []Fold         `json:"sets"`            // every string set in the data
	Compared   []Score        `json:"compared"`        // kinds that Best chose among
	Range      Range          `json:"range"`           // beyond it the model guesses
	Drift      *Drift         `json:"drift"`           // nil when it cannot be told
	LeftOut    []cell.LeftOut `json:"left_out"`
	Suspects   []cell.Suspect `json:"suspects"` // mistakes that the record seems to hold; what they touch counts little
	Warnings   []string       `json:"warnings"`
}

// Score is how well a kind of model predicts what it has not seen, dB.
type Score struct {
	Kind      string   `json:"model"`
	CVBalance *float64 `json:"cv_rms_db"`
	CVLevel   *float64 `json:"cv_rms_level_db"`
	CVSet     *float64 `json:"cv_set_rms_db"`
}

// Progress is told of long work: that fit number done of a kind, of so many, is
// under way.
type Progress func(kind string, done, of int)

// Fit fits a model of one kind and judges it on pickups and string sets left
// out in turn. Data that carry no such model are a *CannotFitError.
func Fit(d *cell.Data, kind string) (*Result, error) {
	k, err := kindOf(kind)
	if err != nil {
		return nil, err
	}
	return k.result(d, nil)
}

// Unjudged fits a model of one kind and leaves it at that: nothing is left out to
// judge it by.
func Unjudged(d *cell.Data, kind string) (Model, error) {
	k, err := kindOf(kind)
	if err != nil {
		return nil, err
	}
	return k.Fit(d)
}

func (k Kind) result(d *cell.Data, progress Progress) (*Result, error) {
	if len(d.Cells) == 0 {
		return nil, &CannotFitError{fmt.Sprintf("no good take among %s", counted(d.Readings, "reading")), "capture a pickup first"}
	}
	m, err := k.Fit(d)
	if err != nil {
		return nil, err
	}
	if err := checkFinite(m); err != nil {
		return nil, err
	}
	again := k.Fit
	if k.refit != nil {
		again = k.refit(m)
	}
	var step func(done, of int)
	if progress != nil {
		step = func(done, of int) { progress(k.Name, done, of) }
	}
	cv := CrossValidate(d, again, step)
	r := &Result{
		Model:       m,
		Fingerprint: d.Fingerprint(),
		Report: Report{
			Kind: k.Name, Readings: d.Readings, Parameters: m.Parameters(), ResidualSD: m.ResidualSD(),
			CVBalance: cv.Balance, CVLevel: cv.Level, CVSet: cv.Set, CVPickups: cv.Pickups, CVSets: cv.Sets,
			Compared: []Score{}, Range: m.Measured(), Drift: driftOf(cv.Pickups),
			LeftOut: append([]cell.LeftOut{}, d.LeftOut...), Suspects: append([]cell.Suspect{}, d.Suspects...),
			Warnings: append(append([]string{}, m.Notes()...), cv.Notes...),
		},
	}
	if w := r.Drift.warning(); w != "" {
		r.Warnings = append(r.Warnings, w)
	}
	if n := len(d.Suspects); n > 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("the record seems to hold mistakes, %d of them: where one is, take its rows back and bring them in put right; until then they count little", n))
	}
	r.count(d)
	return r, nil
}

// checkFinite refuses a model with an estimate that is no number.
func checkFinite(m Model) error {
	for _, p := range m.Parameters() {
		if !solve.Finite(p.Value) || !solve.Finite(p.SE) {
			return &CannotFitError{fmt.Sprintf("the data leave %s of the %s model without a finite estimate", p.Name, m.Kind()),
				"capture pickups that differ more in pole height and strings"}
		}
	}
	return nil
}

// checkReal refuses a fit that leaves nothing of any level: no bench repeats
// itself like that, and a plan from it would be sure of itself.
func (r *Result) checkReal() error {
	if r.ResidualSD < 1e-8 {
		return &CannotFitError{fmt.Sprintf("the %s model leaves nothing of any of %s", r.Kind, counted(r.Cells, "cell")), "look whether the readings were measured"}
	}
	return nil
}

// count counts what the model stands on: the cells that it says something of.
func (r *Result) count(d *cell.Data) {
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

// Best fits every kind and returns the one that best predicts the balance of
// pickups left out, two or more that both kinds could predict; where that
// cannot be told, the first in the order of Kinds. A model that does not know
// what pole heights do is no use for planning, however well it predicts pickups
// whose heights are alike: it comes last. The error, when none fits, is that of
// the first kind. progress may be nil.
func Best(d *cell.Data, progress Progress) (*Result, error) {
	var best *Result
	var first error
	var scores []Score
	folds := map[string][]Fold{}
	for _, k := range kinds {
		r, err := k.result(d, progress)
		if err == nil {
			err = r.checkReal()
		}
		if err != nil {
			first = cmp.Or(first, err)
			continue
		}
		scores = append(scores, Score{r.Kind, r.CVBalance, r.CVLevel, r.CVSet})
		folds[r.Kind] = r.CVPickups
		if best == nil || knowsHeights(r.Model) && (predictsBetter(r, best) || !knowsHeights(best.Model)) {
			best = r
		}
	}
	if best == nil {
		return nil, cmp.Or(first, errors.New("no kind of model"))
	}
	best.Compared, best.folds = scores, folds
	if _, ok := folds[kinds[0].Name]; !ok {
		best.Warnings = append(best.Warnings, fmt.Sprintf("the %s model cannot be fitted, so that a %s one has to do: %s", kinds[0].Name, best.Kind, reason(first)))
	}
	return best, nil
}

// reason is what an error says beside that no model can be fitted.
func reason(err error) string {
	if cannot := (*CannotFitError)(nil); errors.As(err, &cannot) {
		return cannot.Have + "; " + cannot.Need
	}
	return err.Error()
}

// knowsHeights reports whether a model says what a pole's height does.
func knowsHeights(m Model) bool {
	l, ok := m.(*logLinear)
	return !ok || l.has(onPoleHeight) || l.has(onGap)
}

// predictsBetter reports whether a predicts the balance of pickups left out
// better than b, over two or more that both predict.
func predictsBetter(a, b *Result) bool {
	c := compareFolds(a.CVPickups, b.CVPickups)
	return len(c.Pickups) > 1 && *c.Balance[0] < *c.Balance[1]
}
