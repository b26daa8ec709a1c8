package fit

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"

	"evenpole/fit/cell"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// crossValidation is the root mean square error of predictions of cells that the fit
// did not see, dB. A figure is nil when nothing could be predicted from the rest.
type crossValidation struct {
	balance *float64 // whole pickups left out, each pickup's own mean error taken off
	level   *float64 // the same with the level
	set     *float64 // whole string sets left out: balance
	pickups []Fold   // one for each pickup
	sets    []Fold   // one for each string set
	notes   []string // what could not be predicted, and why
}

// Fold is a pickup or a string set that was left out, and the root mean square error,
// dB, with which its cells are predicted from the rest. A figure is nil when nothing
// was predicted.
type Fold struct {
	Name     string          `json:"name"`
	Cells    int             `json:"n_cells"` // those that were predicted
	Balance  *float64        `json:"rms_db"`  // each pickup's own mean error taken off
	Level    *float64        `json:"rms_level_db"`
	NewWraps []profiles.Wrap `json:"new_wraps,omitempty"` // wraps that nothing else has: they are predicted from priors alone
	Data     string          `json:"data_sha256"`         // fingerprint of its cells, predicted or not

	cells          []cell.Cell // of a pickup
	errors         []float64   // of each cell: level less prediction, ln v; NaN without one
	predicted      int
	balance, level squares
}

// leaver predicts cells of a record from the rest of it without fitting a model anew.
type leaver interface {
	// withoutPickup leaves out a pickup, by its place in the order of pickups. The
	// prediction of a cell, by its place in the record, is NaN where there is none.
	withoutPickup(k int) (expect func(i int) float64, err error)

	// unseen leaves out a pickup likewise, and tells the standard deviation, ln v, of each
	// cell's balance less the predicted one, by the cell's place in the record.
	unseen(k int) (expect, balanceSD func(i int) float64, err error)

	// withoutCells leaves out cells, by their places in order.
	withoutCells(out []int) (expect func(i int) float64, err error)
}

// errRefit says that a model has to be fitted anew to leave something out.
var errRefit = errors.New("fit anew")

// validation leaves parts of a record out of one kind of model.
type validation struct {
	ctx   context.Context
	d     *cell.Data
	parts *parts
	refit func(context.Context, *cell.Data) (Model, error)
	quick leaver // nil: every part is left out by fitting the rest

	step        func(done, of int) // may be nil
	mu          sync.Mutex
	done, total int
}

// run leaves out each pickup in turn, then each string set, and predicts the cells left
// out from the rest (leave-one-group-out). A pickup with a single cell has no
// balance. A string set is what the record names so; an unnamed one is the list
// of gauges and cores in a session. step is called before every part, refit from several
// goroutines at once.
func (v *validation) run() (crossValidation, error) {
	p := v.parts
	v.total = len(p.pickups) + len(p.sets)
	var cv crossValidation
	cv.pickups = v.leaveOutEach(&cv, "pickup", p.pickups)
	if len(cv.pickups) == 1 {
		cv.notes = append(cv.notes, "one pickup alone: how well others are predicted cannot be told; capture a second one")
	}
	cv.sets = v.leaveOutEach(&cv, "string set", p.sets)
	var balance, level, set squares
	for i := range cv.pickups {
		balance.join(cv.pickups[i].balance)
		level.join(cv.pickups[i].level)
	}
	for i := range cv.sets {
		set.join(cv.sets[i].balance)
	}
	cv.balance, cv.level, cv.set = balance.rms(), level.rms(), set.rms()
	return cv, v.ctx.Err()
}

// leaveOutEach leaves out parts in turn.
func (v *validation) leaveOutEach(cv *crossValidation, what string, all []part) []Fold {
	folds, errs := make([]Fold, len(all)), make([]error, len(all))
	solve.InParallelEach(len(all), func(i int) {
		if v.ctx.Err() != nil {
			return
		}
		v.next()
		folds[i], errs[i] = v.leaveOut(&all[i])
	})
	for i, err := range errs {
		if err != nil {
			cv.notes = append(cv.notes, fmt.Sprintf("%s %q cannot be predicted from the others: %v", what, all[i].name, err))
		}
	}
	return folds
}

// next tells that the next part is begun.
func (v *validation) next() {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.done++
	if v.step != nil {
		v.step(v.done, v.total)
	}
}

// leaveOut predicts the cells of one part from the rest, if there is any.
func (v *validation) leaveOut(p *part) (Fold, error) {
	f := Fold{Name: p.name, Data: v.parts.fingerprintOf(p)}
	if p.isPickup() {
		f.cells = v.d.Cells[p.first:p.last]
	}
	if len(p.cells()) == len(v.d.Cells) {
		return f, nil
	}
	f.NewWraps = p.ownWraps
	expect, err := v.withoutQuickly(p)
	if errors.Is(err, errRefit) {
		expect, err = v.withoutByFitting(p)
	}
	if err != nil {
		return f, err
	}
	f.predict(v.d.Cells, v.parts, p, expect)
	return f, nil
}

func (v *validation) withoutQuickly(p *part) (func(i int) float64, error) {
	switch {
	case v.quick == nil:
		return nil, errRefit
	case p.isPickup():
		return v.quick.withoutPickup(p.pickup)
	}
	return v.quick.withoutCells(p.places)
}

// withoutByFitting fits the rest.
func (v *validation) withoutByFitting(p *part) (func(i int) float64, error) {
	rest := *v.d
	rest.Cells = nil
	var own []cell.Cell
	at := map[int]int{}
	for _, i := range p.cells() {
		at[i] = len(own)
		own = append(own, v.d.Cells[i])
	}
	for i := range v.d.Cells {
		if _, out := at[i]; !out {
			rest.Cells = append(rest.Cells, v.d.Cells[i])
		}
	}
	m, err := v.refit(v.ctx, &rest)
	if err != nil {
		return nil, err
	}
	var expected []float64
	for first := 0; first < len(own); {
		last := first
		for last < len(own) && own[last].Pickup == own[first].Pickup {
			last++
		}
		expected = append(expected, m.Expect(own[first:last])...)
		first = last
	}
	return func(i int) float64 { return expected[at[i]] }, nil
}

// predict compares what is expected of the cells of a part with what they are.
func (f *Fold) predict(cells []cell.Cell, all *parts, p *part, expect func(i int) float64) {
	all.eachPickup(p, func(of *part, places []int) {
		var errs []float64
		for _, i := range places {
			errs = append(errs, errorOf(&cells[i], expect(i)))
		}
		f.addErrors(errs, of.relative)
		if p.isPickup() {
			f.errors = errs
		}
	})
	f.Balance, f.Level, f.Cells = f.balance.rms(), f.level.rms(), f.predicted
}

// errorOf is by how much a cell's level lies above its prediction, ln v. It is NaN
// without one, and for a cell that a mistake is thought to touch: a model that predicts
// it well has learnt the mistake.
func errorOf(c *cell.Cell, expected float64) float64 {
	if e := c.Mean - expected; solve.Finite(e) && !c.Suspected() {
		return e
	}
	return math.NaN()
}

// addErrors counts the errors of the cells of one pickup. One with levels in no known
// unit, relative, has an error of its balance alone.
func (f *Fold) addErrors(errs []float64, relative bool) {
	known := slices.DeleteFunc(slices.Clone(errs), math.IsNaN)
	mean := solve.Mean(known)
	for _, e := range known {
		f.predicted++
		if !relative {
			f.level.add(e)
		}
		if len(known) > 1 {
			f.balance.add(e - mean)
		}
	}
}

// foldOf compares what a model says of the cells of one pickup with what they are.
func foldOf(pickup string, cells []cell.Cell, m Model) Fold {
	f := Fold{Name: pickup, Data: (&cell.Data{Cells: cells}).Fingerprint(), cells: cells}
	for i, expected := range m.Expect(cells) {
		f.errors = append(f.errors, errorOf(&cells[i], expected))
	}
	f.addErrors(f.errors, slices.ContainsFunc(cells, func(c cell.Cell) bool { return c.Scale != "" }))
	f.Balance, f.Level, f.Cells = f.balance.rms(), f.level.rms(), f.predicted
	return f
}
