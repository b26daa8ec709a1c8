package screen

import (
	"cmp"
	"encoding/binary"
	"math"
	"slices"
	"strconv"

	"evenpole/fit/cell"
)

// lists says which mountings may be compared: all that a round looks up of mountings, so
// that none has to be compared with all others.
type lists struct {
	byPickup map[string][]int
	byShape  map[shape][]int
	shapes   []shape        // of each mounting
	strings  []int          // of each mounting: the number of its list of strings
	lengths  [2][][]float64 // of each mounting: its pole heights and string heights
	groups   []group        // by list of strings
	numbers  [][]int32      // of each mounting that stands in group.pickups: its pole heights' places in group.values
	batches  []*string      // of those: the batch; nil where its cells are of several
	key      []byte         // scratch
}

// group is what mountings with the same list of strings had.
type group struct {
	sets            setList
	pickups         [][]int             // by pickup: the first mounting of each list of pole heights, of those that can be
	lowest, highest []float64           // pole heights of those, by string; nil where there are none
	values          [][]float64         // different pole heights of those, by string
	numbers         []map[float64]int32 // where they stand there
	byFirst         map[float64][]int32 // all of pickups by the pole height of the first string, as shown
}

// shape is what lists of heights that may be compared have in common.
type shape struct{ strings, last int }

func (s *screener) shapeOf(m mounting) shape { return shape{len(m), s.cells[m[len(m)-1]].String} }

// setList is the different sets that mountings with the same list of strings had.
type setList struct {
	mountings []int    // the first of each set whose lengths can be, in order
	keys      []string // of those, see appendSetKey
	cores     []int    // the first of each list of cores; by the core of the first string
}

// listsOf looks through the record as it seems to be.
func (s *screener) listsOf() *lists {
	n := len(s.mountings)
	l := &lists{byPickup: map[string][]int{}, byShape: map[shape][]int{}, shapes: make([]shape, 0, n), strings: make([]int, n), numbers: make([][]int32, n), batches: make([]*string, n)}
	for c := range l.lengths {
		l.lengths[c] = make([][]float64, n)
	}
	numbers := map[string]int{}
	seen, at := map[string]bool{}, map[groupOf]int{}
	all := make([]float64, 2*len(s.cells))
	for k, m := range s.mountings {
		pickup := s.cells[m[0]].Pickup
		l.byPickup[pickup] = append(l.byPickup[pickup], k)
		shape := s.shapeOf(m)
		l.shapes = append(l.shapes, shape)
		l.byShape[shape] = append(l.byShape[shape], k)
		for c, of := range [2]*lengthColumn{poleLength, heightLength} {
			l.lengths[c][k], all = all[:len(m):len(m)], all[len(m):]
			for x, i := range m {
				l.lengths[c][k][x] = of.get(s.cells[i])
			}
		}
		l.key = l.key[:0]
		for _, i := range m {
			l.key = strconv.AppendInt(append(l.key, ' '), int64(s.cells[i].String), 10)
		}
		n, ok := numbers[string(l.key)]
		if !ok {
			n = len(l.groups)
			numbers[string(l.key)] = n
			l.groups = append(l.groups, group{})
		}
		l.strings[k] = n
		l.addSets(s, k, seen)
		if !s.anyImpossible(m) {
			l.addPickup(s, k, at, seen)
		}
	}
	for _, g := range l.groups {
		slices.SortStableFunc(g.sets.cores, func(a, b int) int { return cmp.Compare(s.firstCore(a), s.firstCore(b)) })
	}
	return l
}

func appendBits(b []byte, v float64) []byte {
	return binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
}

// isNew reports whether the key was never seen, and remembers it.
func (l *lists) isNew(seen map[string]bool) bool {
	if seen[string(l.key)] {
		return false
	}
	seen[string(l.key)] = true
	return true
}

// addSets adds a mounting's strings to those that are known.
func (l *lists) addSets(s *screener, k int, seen map[string]bool) {
	m, set := s.mountings[k], &l.groups[l.strings[k]].sets
	l.key = append(strconv.AppendInt(append(l.key[:0], 'c'), int64(l.strings[k]), 10), ' ')
	for _, i := range m {
		l.key = appendBits(l.key, s.cells[i].Core)
	}
	if l.isNew(seen) {
		set.cores = append(set.cores, k)
	}
	if l.key = s.appendSetKey(append(l.key[:0], 's'), m); !s.anyImpossible(m) && l.isNew(seen) {
		set.mountings, set.keys = append(set.mountings, k), append(set.keys, string(l.key[1:]))
	}
}

// appendSetKey makes a key that tells string sets apart.
func (s *screener) appendSetKey(b []byte, m mounting) []byte {
	for _, i := range m {
		c := s.cells[i]
		b = append(append(strconv.AppendInt(b, int64(c.String), 10), ' '), c.Set...)
		b = append(append(append(b, '\n'), c.Wrap...), '\n')
		b = appendBits(appendBits(b, c.Core), c.Gauge)
	}
	return b
}

// addPickup adds a mounting to those of its pickup with which another may have been mixed
// up. at says where the pickups stand, and seen which lists of heights they have.
func (l *lists) addPickup(s *screener, k int, at map[groupOf]int, seen map[string]bool) {
	m, number := s.mountings[k], l.strings[k]
	g, pickup := &l.groups[number], groupOf{number, s.cells[m[0]].Pickup}
	p, ok := at[pickup]
	if !ok {
		p = len(g.pickups)
		at[pickup] = p
		g.pickups = append(g.pickups, nil)
	}
	heights := l.lengths[0][k]
	if l.appendHeightsKey(heights, number, p); !l.isNew(seen) {
		return
	}
	g.pickups[p] = append(g.pickups[p], k)
	if g.byFirst == nil {
		g.byFirst = map[float64][]int32{}
	}
	g.byFirst[shown(heights[0])] = append(g.byFirst[shown(heights[0])], int32(k))
	if g.lowest == nil {
		g.lowest, g.highest = slices.Clone(heights), slices.Clone(heights)
		g.values, g.numbers = make([][]float64, len(m)), make([]map[float64]int32, len(m))
	}
	l.numbers[k] = make([]int32, len(m))
	l.batches[k] = &s.cells[m[0]].Batch
	for x, v := range heights {
		g.lowest[x], g.highest[x] = min(g.lowest[x], v), max(g.highest[x], v)
		l.numbers[k][x] = g.numberOf(x, v)
		if s.cells[m[x]].Batch != s.cells[m[0]].Batch {
			l.batches[k] = nil
		}
	}
}

// numberOf is where a pole height of a string stands in values.
func (g *group) numberOf(x int, v float64) int32 {
	n, ok := g.numbers[x][v]
	if !ok {
		if g.numbers[x] == nil {
			g.numbers[x] = map[float64]int32{}
		}
		n = int32(len(g.values[x]))
		g.numbers[x][v] = n
		g.values[x] = append(g.values[x], v)
	}
	return n
}

// appendHeightsKey makes a key that tells apart the lists of pole heights of a pickup, to
// the digits that a cause shows.
func (l *lists) appendHeightsKey(heights []float64, group, pickup int) {
	l.key = strconv.AppendInt(append(l.key[:0], 'h'), int64(group), 10)
	l.key = append(strconv.AppendInt(append(l.key, ' '), int64(pickup), 10), ' ')
	for _, v := range heights {
		l.key = appendBits(l.key, shown(v)+0) // no -0
	}
}

// sameHeights reports whether two lists of pole heights are the same, to the digits that a
// cause shows.
func sameHeights(own, other []float64) bool {
	for x, v := range own {
		if v != other[x] && shown(v) != shown(other[x]) {
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
func (l *lists) listed(s *screener, m mounting, corrected map[int]*cell.Cell, of *lengthColumn) (lengths []float64, column int) {
	if of == heightLength {
		column = 1
	}
	own := l.lengths[column][s.mountingOf(m)]
	if len(corrected) == 0 {
		return own, column
	}
	own = slices.Clone(own)
	for x, i := range m {
		if c, ok := corrected[i]; ok {
			own[x] = of.get(c)
		}
	}
	return own, column
}

// group is the number of a mounting's list of strings.
func (l *lists) group(s *screener, m mounting) *group { return &l.groups[l.strings[s.mountingOf(m)]] }

func (s *screener) firstCore(mounting int) float64 { return s.cells[s.mountings[mounting][0]].Core }

// hasCores reports whether a mounting has the cores of another one, times a factor. As
// filed it never has: a slip changes more than sameSteel.
func (l *lists) hasCores(s *screener, m mounting, factor float64) bool {
	cores := l.group(s, m).sets.cores
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
