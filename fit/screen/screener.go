package screen

import (
	"slices"
	"strings"

	"evenpole/fit/cell"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// screener holds the record as far as it has been put right.
type screener struct {
	nPossible      int                 // cells of Data.Cells; those behind are of Data.Impossible
	filed          []*cell.Cell        // as the record has them
	cells          []*cell.Cell        // as they seem to be: those put right are cells of their own
	impossible     []bool              // of lengths that cannot be, and not put right
	cutOff         []bool              // of each cell: takes of it were cut off
	excite         profiles.Excitation // of most cells
	takeVariance   cell.TakeVariances
	mountings      []mounting
	of             []int32 // the mounting of each cell
	lists          *lists
	found          []int                 // mistakes found, by mounting
	digits         map[*lengthColumn]int // decimals that lengths of a column usually have
	driftsOnly     bool                  // the last rounds look for drifts alone: another mistake may look like one
	likely, drifts []*hypothesis         // of each mounting, as it was examined last; nil = none
	openToNames    []bool                // of each mounting: it may have been of another pickup, as far as its levels can be likelier
	again          again
	habits         habits
	levels         *levelModel
}

// habits is how a shop fills in its lists of heights.
type habits struct {
	poles      habit // repeats the same pickup's heights from mounting to mounting
	heights    habit // repeats the string heights of the bench, all strings shifted alike
	batch      habit // repeats the same pickup's batch
	mountsOnce bool  // a pickup is seldom mounted twice in the same way
}

// habit is ln of what one height costs that differs by more than within, mm, from the
// list that it ought to repeat; a cost of 0 where the shop does not repeat it.
type habit struct{ cost, within float64 }

// again says what a round looks at again.
type again struct {
	all     bool
	pickups map[string]bool // all mountings of these
	others  map[string]bool // of all other mountings, whether they were of these, see screener.openToNames
}

func newScreener(d *cell.Data) *screener {
	s := &screener{digits: map[*lengthColumn]int{}, nPossible: len(d.Cells), excite: cell.UsualExcite(d.Cells, d.Impossible), takeVariance: cell.TakeVariancesOf(d.Cells, d.Impossible)}
	s.filed = make([]*cell.Cell, 0, len(d.Cells)+len(d.Impossible))
	for _, cells := range [][]cell.Cell{d.Cells, d.Impossible} {
		for i := range cells {
			s.filed = append(s.filed, &cells[i])
		}
	}
	s.cells = slices.Clone(s.filed)
	s.cutOff = make([]bool, len(s.cells))
	s.impossible = make([]bool, len(s.cells))
	for i := range d.Impossible {
		s.impossible[s.nPossible+i] = true
	}
	digits := make([]int, len(lengths))
	solve.InParallelEach(1+len(lengths), func(k int) {
		if k == 0 {
			s.mountings = mountingsOf(s.cells)
		} else {
			digits[k-1] = s.usualDigits(lengths[k-1])
		}
	})
	for k, l := range lengths {
		s.digits[l] = digits[k]
	}
	s.of = make([]int32, len(s.cells))
	for k, m := range s.mountings {
		for _, i := range m {
			s.of[i] = int32(k)
		}
	}
	n := len(s.mountings)
	s.found, s.likely, s.drifts, s.openToNames = make([]int, n), make([]*hypothesis, n), make([]*hypothesis, n), make([]bool, n)
	return s
}

// mountingOf is the number of a mounting.
func (s *screener) mountingOf(m mounting) int { return int(s.of[m[0]]) }

// cellAt is the cell at a place, as corrected if it is among the corrected ones.
func (s *screener) cellAt(i int, corrected map[int]*cell.Cell) *cell.Cell {
	if c, ok := corrected[i]; ok {
		return c
	}
	return s.cells[i]
}

// listed writes a mounting's lengths, some cells corrected.
func (s *screener) listed(m mounting, corrected map[int]*cell.Cell, l *lengthColumn) string {
	var out []string
	for _, i := range m {
		out = append(out, mm(l.get(s.cellAt(i, corrected))))
	}
	return strings.Join(out, " ")
}

// anyImpossible reports whether a mounting has lengths that cannot be, not put right.
func (s *screener) anyImpossible(m mounting) bool {
	return slices.ContainsFunc(m, func(i int) bool { return s.impossible[i] })
}
