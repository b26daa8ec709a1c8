package fit

import "evenpole/fit/cell"

// Compare compares two models on pickups of a record: on those that neither was
// fitted on, where there are any; else on those that only one was fitted on,
// else on those that both were. A pickup that a model was fitted on is predicted as in
// its cross-validation, from the others.
func Compare(a, b *Result, d *cell.Data) Comparison {
	var by [3][2][]Fold // by how many of the two were fitted on a pickup
	for _, cells := range d.ByPickup() {
		p := cells[0].Pickup
		one, aSaw := a.predictionOf(p, cells)
		two, bSaw := b.predictionOf(p, cells)
		n := 0
		if aSaw {
			n++
		}
		if bSaw {
			n++
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

// CompareNew compares a shop's model with a new fit to its record: on the pickups that
// are new since; without any, on those whose cells are as they were; where all have
// changed, on how a model of the current one's kind and the new one predict pickups left
// out.
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

// predictionOf is how a model predicts a pickup: of one that it was fitted on, as its
// cross-validation did. saw reports whether it was.
func (r *Result) predictionOf(pickup string, cells []cell.Cell) (f Fold, saw bool) {
	for _, f := range r.CVPickups {
		if f.Name == pickup {
			return f, true
		}
	}
	return foldOf(pickup, cells, r.Model), false
}

// compareFolds compares two lists of folds on pickups with the same cells, as
// many of them predicted.
func compareFolds(one, two []Fold) Comparison {
	c := Comparison{Pickups: []string{}}
	var balance, level [2]squares
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
