package screen

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"evenpole/fit/cell"
)

// lists says which mountings may be compared: all that a round looks up of mountings, so
// that none has to be compared with all others.
type lists struct {
	of       []int // the mounting of each cell
	byPickup map[string][]int
	byShape  map[shape][]int
	shapes   []shape        // of each mounting
	strings  []int          // of each mounting: the number of its list of strings
	lengths  [2][][]float64 // of each mounting: its pole heights and string heights
	sets     []setList      // by list of strings
	others   [][][]int      // by list of strings and pickup: the first mounting of each list of pole heights, of those that can be
}

// shape is what lists of heights that may be compared have in common.
type shape struct{ strings, last int }

func (s *screener) shapeOf(m mounting) shape { return shape{len(m), s.cells[m[len(m)-1]].String} }

// setList is the different sets that mountings with the same list of strings had.
type setList struct {
	mountings []int // the first of each set whose lengths can be, in order
	cores     []int // the first of each list of cores; by the core of the first string
}

// listsOf looks through the record as it seems to be.
func (s *screener) listsOf() *lists {
	l := &lists{of: make([]int, len(s.cells)), byPickup: map[string][]int{}, byShape: map[shape][]int{}, strings: make([]int, len(s.mountings))}
	for c := range l.lengths {
		l.lengths[c] = make([][]float64, len(s.mountings))
	}
	numbers := map[string]int{}
	seen, at := map[string]bool{}, map[groupOf]int{}
	var text []byte
	for k, m := range s.mountings {
		pickup := s.cells[m[0]].Pickup
		l.byPickup[pickup] = append(l.byPickup[pickup], k)
		shape := s.shapeOf(m)
		l.shapes = append(l.shapes, shape)
		l.byShape[shape] = append(l.byShape[shape], k)
		both := make([]float64, 0, 2*len(m))
		for c, of := range [2]*lengthColumn{poleLength, heightLength} {
			for _, i := range m {
				l.of[i] = k
				both = append(both, of.get(s.cells[i]))
			}
			l.lengths[c][k] = both[c*len(m) : (c+1)*len(m)]
		}
		text = text[:0]
		for _, i := range m {
			text = strconv.AppendInt(append(text, ' '), int64(s.cells[i].String), 10)
		}
		n, ok := numbers[string(text)]
		if !ok {
			n = len(l.sets)
			numbers[string(text)] = n
			l.sets = append(l.sets, setList{})
			l.others = append(l.others, nil)
		}
		l.strings[k] = n
		l.addSets(s, k, seen)
		if !s.anyImpossible(m) {
			l.addPickup(s, k, at, seen)
		}
	}
	for _, set := range l.sets {
		slices.SortStableFunc(set.cores, func(a, b int) int { return cmp.Compare(s.firstCore(a), s.firstCore(b)) })
	}
	return l
}

// addSets adds a mounting's strings to those that are known.
func (l *lists) addSets(s *screener, k int, seen map[string]bool) {
	m, set := s.mountings[k], &l.sets[l.strings[k]]
	cores := make([]byte, 0, 80)
	cores = strconv.AppendInt(cores, int64(l.strings[k]), 10)
	for _, i := range m {
		cores = strconv.AppendUint(append(cores, ' '), math.Float64bits(s.cells[i].Core), 36)
	}
	if !seen["c"+string(cores)] {
		seen["c"+string(cores)] = true
		set.cores = append(set.cores, k)
	}
	if key := s.setKey(m); !seen["s"+key] && !s.anyImpossible(m) {
		seen["s"+key] = true
		set.mountings = append(set.mountings, k)
	}
}

// addPickup adds a mounting to those of its pickup with which another may have been mixed
// up. at says where the pickups stand, and seen which lists of heights they have.
func (l *lists) addPickup(s *screener, k int, at map[groupOf]int, seen map[string]bool) {
	m, group := s.mountings[k], l.strings[k]
	pickup := groupOf{group, s.cells[m[0]].Pickup}
	p, ok := at[pickup]
	if !ok {
		p = len(l.others[group])
		at[pickup] = p
		l.others[group] = append(l.others[group], nil)
	}
	if key := s.heightsKey(m, group, p); !seen[key] {
		seen[key] = true
		l.others[group][p] = append(l.others[group][p], k)
	}
}

// heightsKey tells apart the lists of pole heights of a pickup, to the digits that a cause
// shows.
func (s *screener) heightsKey(m mounting, group, pickup int) string {
	key := strconv.AppendInt([]byte{'h'}, int64(group), 10)
	key = strconv.AppendInt(append(key, ' '), int64(pickup), 10)
	for _, i := range m {
		key = strconv.AppendUint(append(key, ' '), math.Float64bits(shown(s.cells[i].PoleHeight)+0), 36) // no -0
	}
	return string(key)
}

// sameHeights reports whether two mountings have the same pole heights, to the digits that
// a cause shows.
func (s *screener) sameHeights(m, o mounting) bool {
	for x, i := range m {
		if a, b := s.cells[i].PoleHeight, s.cells[o[x]].PoleHeight; a != b && shown(a) != shown(b) {
			return false
		}
	}
	return true
}

// groupOf is a list of strings and something that was under them.
type groupOf struct {
	strings int
	of      string
}

// listed is the lengths of a mounting's list, some cells corrected.
func (l *lists) listed(s *screener, m mounting, corrected map[int]cell.Cell, of *lengthColumn) (lengths []float64, column int) {
	column = slices.Index([]*lengthColumn{poleLength, heightLength}, of)
	own := l.lengths[column][l.of[m[0]]]
	if len(corrected) == 0 {
		return own, column
	}
	own = slices.Clone(own)
	for x, i := range m {
		if c, ok := corrected[i]; ok {
			own[x] = of.get(&c)
		}
	}
	return own, column
}

// group is the number of a mounting's list of strings.
func (l *lists) group(m mounting) int { return l.strings[l.of[m[0]]] }

func (s *screener) firstCore(mounting int) float64 { return s.cells[s.mountings[mounting][0]].Core }

// hasCores reports whether a mounting has the cores of another one, times a factor. As
// filed it never has: a slip changes more than sameSteel.
func (l *lists) hasCores(s *screener, m mounting, factor float64) bool {
	cores := l.sets[l.group(m)].cores
	core := s.cells[m[0]].Core * factor
	at, _ := slices.BinarySearchFunc(cores, core*math.Exp(-sameSteel), func(k int, v float64) int { return cmp.Compare(s.firstCore(k), v) })
	for ; at < len(cores) && s.firstCore(cores[at]) <= core*math.Exp(sameSteel); at++ {
		o := s.mountings[cores[at]]
		if !slices.ContainsFunc(m, func(i int) bool {
			x := slices.Index(m, i)
			return math.Abs(math.Log(s.cells[i].Core*factor/s.cells[o[x]].Core)) > sameSteel
		}) {
			return true
		}
	}
	return false
}
