package screen

import (
	"slices"
	"testing"

	"evenpole/fit/cell/celltest"
	"evenpole/fit/curve"
)

// Two cells have part in the same shared effects where they are of one class.
func TestClassesAreThoseOfTheEffects(t *testing.T) {
	s := fitted(t, celltest.File(t, "slips", "readings.csv"))
	for i, a := range s.cells {
		b := s.cells[(i*7+1)%len(s.cells)]
		var columns []int
		same := a.String == b.String
		for _, e := range curve.Effects {
			if !e.Local && !e.Level(a).None {
				columns = append(columns, s.levels.classes.columns[e.Key(a)])
				same = same && e.Key(a) == e.Key(b)
			}
		}
		of := s.levels.class[i]
		if !slices.Equal(of.columns, columns) || of.unseen != 0 {
			t.Errorf("cell %d: columns %v, want %v", i, of.columns, columns)
		}
		if got := of == s.levels.classes.classOf(b); got != same {
			t.Errorf("%+v and %+v: one class %v, want %v", *a, *b, got, same)
		}
	}
}
