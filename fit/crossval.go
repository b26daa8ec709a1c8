package fit

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"

	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// CV is how far predictions are off of cells that the fit did not see, root
// mean square over cells, in dB. A figure is nil when nothing could be
// predicted from the rest.
type CV struct {
	Balance *float64 // whole pickups left out, each pickup's own mean error taken off
	Level   *float64 // the same with the level
	Set     *float64 // whole string sets left out: balance
	Pickups []Fold   // one for each pickup
	Sets    []Fold   // one for each string set
	Notes   []string // what could not be predicted, and why
}

// Fold is a pickup or a string set that was left out, and how far predictions
// from the rest are off: root mean square over its cells, dB. A figure is nil
// when there was none.
type Fold struct {
	Name     string          `json:"name"`
	Cells    int             `json:"n_cells"` // those that were predicted
	Balance  *float64        `json:"rms_db"`  // each pickup's own mean error taken off
	Level    *float64        `json:"rms_level_db"`
	NewWraps []profiles.Wrap `json:"new_wraps,omitempty"` // wraps that nothing else has: priors alone told of them
	Data     string          `json:"data_sha256"`         // fingerprint of its cells, predicted or not

	own            []cell.Cell
	missed         []float64 // what the prediction of each own cell missed, ln v; NaN without one
	balance, level sum
}

// CrossValidate leaves out each pickup in turn, then each string set, fits to
// the rest and predicts the cells left out. A pickup with a single cell has no
// balance. A string set is what the record names so; an unnamed one is the list
// of gauges and cores in a session. fit is called from several goroutines at
// once. step is told of every fit, and may be nil.
func CrossValidate(d *cell.Data, fit func(*cell.Data) (Model, error), step func(done, of int)) CV {
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
	var cv CV
	cv.Pickups = cv.leave(d, "pickup", pickups, fit, next)
	if len(cv.Pickups) == 1 {
		cv.Notes = append(cv.Notes, "one pickup alone: how well others are predicted cannot be told; capture a second one")
	}
	cv.Sets = cv.leave(d, "string set", sets, fit, next)
	var balance, level, set sum
	for _, f := range cv.Pickups {
		balance.join(f.balance)
		level.join(f.level)
	}
	for _, f := range cv.Sets {
		set.join(f.balance)
	}
	cv.Balance, cv.Level, cv.Set = balance.rms(), level.rms(), set.rms()
	return cv
}

// leave leaves out the cells of each name in turn; names has one for each cell.
func (cv *CV) leave(d *cell.Data, what string, names []string, fit func(*cell.Data) (Model, error), next func()) []Fold {
	parts := distinct(slices.Clone(names))
	folds, errs := make([]Fold, len(parts)), make([]error, len(parts))
	atOnce(len(parts), func(i int) {
		next()
		folds[i], errs[i] = leaveOut(d, names, parts[i], fit)
	})
	for i, err := range errs {
		if err != nil {
			cv.Notes = append(cv.Notes, fmt.Sprintf("%s %q cannot be predicted from the others: %v", what, parts[i], err))
		}
	}
	return folds
}

// leaveOut predicts the cells of one name from the rest, if there is any.
func leaveOut(d *cell.Data, names []string, name string, fit func(*cell.Data) (Model, error)) (Fold, error) {
	rest, own := d.Without(names, name)
	f := Fold{Name: name, Data: (&cell.Data{Cells: own}).Fingerprint(), own: own}
	if len(rest.Cells) == 0 {
		return f, nil
	}
	known, here := rangeOf(rest.Cells), rangeOf(own)
	f.NewWraps = slices.DeleteFunc(here.Wraps, known.knows)
	m, err := fit(rest)
	if err != nil {
		return f, err
	}
	f.predict(m)
	return f, nil
}

// atOnce does n things, as many at once as there are processors.
func atOnce(n int, do func(i int)) {
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
	for first := 0; first < len(f.own); {
		last := first
		for last < len(f.own) && f.own[last].Pickup == f.own[first].Pickup {
			last++
		}
		f.predictPickup(f.own[first:last], m)
		first = last
	}
	f.Balance, f.Level, f.Cells = f.balance.rms(), f.level.rms(), f.level.n
}

// predictPickup compares all cells but those that a mistake is thought to touch: a model
// that predicts them well has learnt the mistake.
func (f *Fold) predictPickup(cells []cell.Cell, m Model) {
	var told []float64
	for i, p := range m.Expect(cells) {
		e := cells[i].Mean - p
		if solve.Finite(e) && !cells[i].Suspected() {
			told = append(told, e)
		} else {
			e = math.NaN()
		}
		f.missed = append(f.missed, e)
	}
	mean := meanOf(told)
	for _, e := range told {
		f.level.add(e)
		if len(told) > 1 {
			f.balance.add(e - mean)
		}
	}
}

func meanOf(v []float64) float64 {
	var s float64
	for _, x := range v {
		s += x / float64(len(v))
	}
	return s
}

// sum adds up squares.
type sum struct {
	squares float64
	n       int
}

func (s *sum) add(v float64) { s.squares += v * v; s.n++ }

func (s *sum) join(o sum) { s.squares += o.squares; s.n += o.n }

// rms is the root mean square in dB; nil of nothing.
func (s *sum) rms() *float64 {
	if s.n == 0 {
		return nil
	}
	v := level.PerLn * math.Sqrt(s.squares/float64(s.n))
	return &v
}
