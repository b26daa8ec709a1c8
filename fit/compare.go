package fit

import (
	"math"

	"evenpole/fit/cell"
	"evenpole/fit/level"
)

// What two models are compared on. In every case both predict cells that they
// were not fitted to.
const (
	NeitherSaw = "pickups new to both"
	OneSaw     = "pickups new to one of the two"
	BothSaw    = "pickups known to both, each left out in turn"
	ByKind     = "the record's pickups, each left out in turn of a model of the same kind"
	NoBasis    = "nothing: no pickup can be predicted by both"
)

// Comparison is how two models predict the same cells of pickups: root mean
// square errors in dB, of the first and the second; nil without any.
type Comparison struct {
	Basis   string      `json:"basis"`
	Pickups []string    `json:"pickups"`
	Cells   int         `json:"n_cells"`
	Balance [2]*float64 `json:"rms_db"`
	Level   [2]*float64 `json:"rms_level_db"`
}

// AsWell is how much worse, dB, counts as equally good: a pole that is set 0.02
// mm off does as much. A model of more data should not fall to a rounding error.
const AsWell = 0.05

// SecondAsWell reports whether the second predicts balance at least as well.
// Where nothing can be compared it does: it knows the newer data.
func (c *Comparison) SecondAsWell() bool {
	return c.Balance[0] == nil || *c.Balance[1] <= *c.Balance[0]+AsWell
}

// Compare compares two models on pickups of a record: on those that neither was
// fitted on, where there are any; else on those that only one was fitted on,
// else on those that both were. A model predicts a pickup that it was fitted on
// as its cross-validation did, from the others.
func Compare(a, b *Result, d *cell.Data) Comparison {
	var by [3][2][]Fold // by how many of the two were fitted on a pickup
	for _, p := range d.Pickups() {
		_, own := d.Split(p)
		one, aSaw := a.unseen(p, own)
		two, bSaw := b.unseen(p, own)
		n := 0
		for _, saw := range []bool{aSaw, bSaw} {
			if saw {
				n++
			}
		}
		by[n][0], by[n][1] = append(by[n][0], one), append(by[n][1], two)
	}
	for n, basis := range []string{NeitherSaw, OneSaw, BothSaw} {
		if c := compareFolds(by[n][0], by[n][1]); len(c.Pickups) > 0 {
			c.Basis = basis
			return c
		}
	}
	return Comparison{Basis: NoBasis, Pickups: []string{}}
}

// CompareNew compares a shop's model with a new fit to its record: on pickups
// that are new since; without any, on those whose cells are as they were; where
// all have changed, by kind.
func CompareNew(current, fresh *Result, d *cell.Data) Comparison {
	c := Compare(current, fresh, d)
	if c.Basis == NoBasis {
		if k := compareFolds(fresh.folds[current.Kind], fresh.CVPickups); len(k.Pickups) > 0 {
			k.Basis = ByKind
			return k
		}
	}
	return c
}

// unseen is how a model predicts a pickup that it was not fitted on, or that its
// cross-validation left out.
func (r *Result) unseen(pickup string, own []cell.Cell) (f Fold, saw bool) {
	for _, f := range r.CVPickups {
		if f.Name == pickup {
			return f, true
		}
	}
	f = Fold{Name: pickup, Data: (&cell.Data{Cells: own}).Fingerprint(), own: own}
	f.predict(r.Model)
	return f, false
}

// compareFolds compares two lists of folds on pickups with the same cells, as
// many of them predicted.
func compareFolds(one, two []Fold) Comparison {
	c := Comparison{Pickups: []string{}}
	var balance, level [2]sum
	for _, a := range one {
		for _, b := range two {
			if a.Name != b.Name || a.Data != b.Data || a.Cells != b.Cells || a.Balance == nil || b.Balance == nil {
				continue
			}
			c.Pickups = append(c.Pickups, a.Name)
			c.Cells += a.Cells
			for i, f := range []Fold{a, b} {
				balance[i].join(sumOf(f.Balance, f.Cells))
				level[i].join(sumOf(f.Level, f.Cells))
			}
		}
	}
	for i := range 2 {
		c.Balance[i], c.Level[i] = balance[i].rms(), level[i].rms()
	}
	return c
}

// sumOf is the sum of squares behind a root mean square in dB over n cells.
func sumOf(rms *float64, n int) sum {
	return sum{math.Pow(*rms/level.PerLn, 2) * float64(n), n}
}
