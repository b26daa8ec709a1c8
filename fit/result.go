package fit

import (
	"context"
	"fmt"
	"math"
	"sync"

	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// Result is a fitted model with what is known of it. Program and History are
// the caller's to set before it is written.
type Result struct {
	Report
	Model       Model
	Fingerprint string   // of the data, see [cell.Data.Fingerprint]
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
	ResidualSD level.DB       `json:"residual_sd_db"`
	CVBalance  *float64       `json:"cv_rms_db"`       // pickups left out in turn: root mean square error, see Fold; nil when it cannot be told
	CVLevel    *float64       `json:"cv_rms_level_db"` // likewise, of the level
	CVSet      *float64       `json:"cv_set_rms_db"`   // of the balance, whole string sets left out in turn
	CVPickups  []Fold         `json:"pickups"`         // every pickup in the data
	CVSets     []Fold         `json:"sets"`            // every string set in the data
	Compared   []Score        `json:"compared"`        // kinds that Best chose among
	Range      Range          `json:"range"`           // beyond it the model guesses
	Drift      *Trend         `json:"drift"`           // nil when it cannot be told
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

// Progress is called while Best works: fit number done of a kind, of so many, begins. Kinds
// are fitted at the same time, so that what is said of them mixes; one call ends before
// the next one begins.
type Progress func(kind string, done, of int)

// inTurn keeps calls from different goroutines apart.
func (p Progress) inTurn() Progress {
	var mu sync.Mutex
	return func(kind string, done, of int) {
		mu.Lock()
		defer mu.Unlock()
		p(kind, done, of)
	}
}

// measured fits a model and measures its error on pickups and string sets left out in
// turn.
func (k modelKind) measured(ctx context.Context, d *cell.Data, all *parts, progress Progress) (*Result, error) {
	if len(d.Cells) == 0 {
		return nil, noTake(d, "capture a pickup first")
	}
	m, err := k.fit(ctx, d)
	if err != nil {
		return nil, err
	}
	if err := checkFinite(m); err != nil {
		return nil, err
	}
	v := &validation{ctx: ctx, d: d, parts: all, refit: k.refitOf(m)}
	if k.leaver != nil {
		v.quick = k.leaver(m, d)
	}
	if progress != nil {
		v.step = func(done, of int) { progress(k.name, done, of) }
	}
	cv, err := v.run()
	if err != nil {
		return nil, err
	}
	r := &Result{
		Model:       m,
		Fingerprint: all.fingerprint(),
		Report: Report{
			Kind: k.name, Readings: d.Readings, Parameters: m.Parameters(), ResidualSD: m.ResidualSD(),
			CVBalance: cv.balance, CVLevel: cv.level, CVSet: cv.set, CVPickups: cv.pickups, CVSets: cv.sets,
			Compared: []Score{}, Range: m.Measured(),
			LeftOut: append([]cell.LeftOut{}, d.LeftOut...), Suspects: append([]cell.Suspect{}, d.Suspects...),
			Warnings: append(append([]string{}, m.Notes()...), cv.notes...),
		},
	}
	return r, nil
}

// complete works out what the result says of the data, of the kind that was chosen.
func (r *Result) complete(d *cell.Data) {
	r.Drift = trendOf(r.CVPickups)
	r.Warnings = append(r.Warnings, ownWraps(d.Cells)...)
	if w := r.Drift.warning(); w != "" {
		r.Warnings = append(r.Warnings, w)
	}
	if n := len(d.Suspects); n > 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("the record seems to hold mistakes, %d of them: where one is, correct its mount file and file its session anew with 'evenpole record amend'; until then its rows count little", n))
	}
	r.countUse(d)
}

// ownWraps warns of wraps in the record that the handbook does not know, and of wound
// strings whose wrap the record does not name.
func ownWraps(cells []cell.Cell) []string {
	var wound []profiles.String
	seen := map[profiles.Wrap]bool{}
	for i := range cells {
		if w := cells[i].Wrap; !seen[w] {
			seen[w] = true
			wound = append(wound, profiles.String{Wrap: w})
		}
	}
	var out []string
	for _, w := range profiles.OwnWraps(wound) {
		if w == cell.Unnamed {
			out = append(out, "wound strings whose wrap the record does not name are taken for strings of one wrap, which the handbook does not know; fill in the column wrap")
			continue
		}
		out = append(out, profiles.OwnWrapWarning(w))
	}
	return out
}

// checkFinite refuses a model with an estimate that is no number, or that could not be
// read again from its file.
func checkFinite(m Model) error {
	for _, p := range m.Parameters() {
		if !solve.Finite(p.Value) || !solve.Finite(p.SE) {
			return &CannotFitError{fmt.Sprintf("the data leave %s of the %s model without a finite estimate", p.Name, m.Kind()),
				"capture pickups that differ more in pole height and strings"}
		}
	}
	if err := checkModel(m); err != nil {
		return &CannotFitError{fmt.Sprintf("the data lead a %s model beyond what a pickup can be like (%v)", m.Kind(), err),
			"look whether lengths and levels are in the units that they should be in"}
	}
	return nil
}

// checkModel refuses a model with a state that no fit of levels of pickups can have left.
func checkModel(m Model) error {
	if c, ok := m.(interface{ check() error }); ok {
		return c.check()
	}
	return nil
}

// checkScatter refuses a fit that leaves nothing of any level: no bench repeats
// itself like that, and a plan from it would be sure of itself.
func (r *Result) checkScatter(d *cell.Data) error {
	if r.ResidualSD < 1e-8 {
		r.countUse(d)
		return &CannotFitError{fmt.Sprintf("the %s model leaves nothing of any of %s", r.Kind, profiles.Count(r.Cells, "cell")), "look whether the readings were measured"}
	}
	return nil
}

// countUse counts the cells that the model predicts, with their takes and pickups.
func (r *Result) countUse(d *cell.Data) {
	for _, cells := range d.ByPickup() {
		before := r.Cells
		for i, predicts := range predicted(r.Model, cells) {
			if predicts {
				r.Cells++
				r.Used += cells[i].Takes
			}
		}
		if r.Cells > before {
			r.Pickups++
		}
	}
}

// predicted tells which cells of a pickup a model predicts. One that knows without
// predicting them has a method of that name.
func predicted(m Model, cells []cell.Cell) []bool {
	out := make([]bool, len(cells))
	if m, ok := m.(interface{ predicts(*cell.Cell) bool }); ok {
		for i := range cells {
			out[i] = m.predicts(&cells[i])
		}
		return out
	}
	for i, y := range m.Expect(cells) {
		out[i] = !math.IsNaN(y)
	}
	return out
}
