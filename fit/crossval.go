package fit

import (
	"fmt"
	"math"
	"runtime"
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

	cells          []cell.Cell
	errors         []float64 // of each cell: level less prediction, ln v; NaN without one
	balance, level squares
}

// crossValidate leaves out each pickup in turn, then each string set, fits to
// the rest and predicts the cells left out (leave-one-group-out). A pickup with a single cell has no
// balance. A string set is what the record names so; an unnamed one is the list
// of gauges and cores in a session. fit is called from several goroutines at
// once. step is called before every fit, and may be nil.
func crossValidate(d *cell.Data, fit func(*cell.Data) (Model, error), step func(done, of int)) crossValidation {
	pickups, sets := make([]string, len(d.Cells)), d.SetNames()
	for i := range d.Cells {
		pickups[i] = d.Cells[i].Pickup
	}
	total, done := len(distinct(slices.Clone(pickups)))+len(distinct(slices.Clone(sets))), 0
	var mu sync.Mutex
	next := func() {
		mu.Lock()
		defer mu.Unlock()
		done++
		if step != nil {
			step(done, total)
		}
	}
	var cv crossValidation
	cv.pickups = cv.leaveOutEach(d, "pickup", pickups, fit, next)
	if len(cv.pickups) == 1 {
		cv.notes = append(cv.notes, "one pickup alone: how well others are predicted cannot be told; capture a second one")
	}
	cv.sets = cv.leaveOutEach(d, "string set", sets, fit, next)
	var balance, level, set squares
	for _, f := range cv.pickups {
		balance.join(f.balance)
		level.join(f.level)
	}
	for _, f := range cv.sets {
		set.join(f.balance)
	}
	cv.balance, cv.level, cv.set = balance.rms(), level.rms(), set.rms()
	return cv
}

// leaveOutEach leaves out the cells of each name in turn; names has one for each cell.
func (cv *crossValidation) leaveOutEach(d *cell.Data, what string, names []string, fit func(*cell.Data) (Model, error), next func()) []Fold {
	parts := distinct(slices.Clone(names))
	folds, errs := make([]Fold, len(parts)), make([]error, len(parts))
	inParallel(len(parts), func(i int) {
		next()
		folds[i], errs[i] = leaveOut(d, names, parts[i], fit)
	})
	for i, err := range errs {
		if err != nil {
			cv.notes = append(cv.notes, fmt.Sprintf("%s %q cannot be predicted from the others: %v", what, parts[i], err))
		}
	}
	return folds
}

func newFold(name string, cells []cell.Cell) Fold {
	return Fold{Name: name, Data: (&cell.Data{Cells: cells}).Fingerprint(), cells: cells}
}

// leaveOut predicts the cells of one name from the rest, if there is any.
func leaveOut(d *cell.Data, names []string, name string, fit func(*cell.Data) (Model, error)) (Fold, error) {
	rest, cells := d.Without(names, name)
	f := newFold(name, cells)
	if len(rest.Cells) == 0 {
		return f, nil
	}
	measured, here := rangeOf(rest.Cells), rangeOf(cells)
	f.NewWraps = slices.DeleteFunc(here.Wraps, measured.hasWrap)
	m, err := fit(rest)
	if err != nil {
		return f, err
	}
	f.predict(m)
	return f, nil
}

// inParallel does n things, as many at once as there are processors.
func inParallel(n int, do func(i int)) {
	var wg sync.WaitGroup
	todo := make(chan int)
	for range min(n, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for i := range todo {
				do(i)
			}
		})
	}
	for i := range n {
		todo <- i
	}
	close(todo)
	wg.Wait()
}

// predict compares what a model says of the cells with what they are.
func (f *Fold) predict(m Model) {
	for first := 0; first < len(f.cells); {
		last := first
		for last < len(f.cells) && f.cells[last].Pickup == f.cells[first].Pickup {
			last++
		}
		f.predictPickup(f.cells[first:last], m)
		first = last
	}
	f.Balance, f.Level, f.Cells = f.balance.rms(), f.level.rms(), f.level.n
}

// predictPickup compares the cells of one pickup, but for those that a mistake is thought
// to touch: a model that predicts them well has learnt the mistake.
func (f *Fold) predictPickup(cells []cell.Cell, m Model) {
	var errors []float64
	for i, p := range m.Expect(cells) {
		e := cells[i].Mean - p
		if solve.Finite(e) && !cells[i].Suspected() {
			errors = append(errors, e)
		} else {
			e = math.NaN()
		}
		f.errors = append(f.errors, e)
	}
	mean := solve.Mean(errors)
	for _, e := range errors {
		f.level.add(e)
		if len(errors) > 1 {
			f.balance.add(e - mean)
		}
	}
}
