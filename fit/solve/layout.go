package solve

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// layout says where each unknown of a Mixed stands. Unknowns of one group only
// stand in that group's block, all others among the shared ones. A group's equations have
// of the shared unknowns those that it has part in, so that a group costs no more because
// others have part in more.
//
// Of a group's block the unknowns of one term, the leaf, are eliminated first: the
// single-covariate local term with the most levels (a pickup's mountings). No two of
// its levels share an observation, so that each is one number and costs in proportion
// to its observations. Without it a block would cost the cube of its unknowns.
type layout struct {
	*Mixed
	n       int     // observations
	nFixed  int     // fixed effects
	nShared int     // fixed effects and shared random ones
	size    []int   // of each term: number of covariates
	levels  []int   // of each term: number of levels
	places  [][]int // of each term: where a level stands among the shared unknowns; noUnknown where it is local, or nothing
	local   [][]int // of each term: where a level stands in its group's block, leaves behind all others; noUnknown where it is shared
	group   [][]int // of each term: the group of such a level
	sizes   []int   // unknowns of each group
	mids    []int   // those of them that are not leaves
	termOf  [][]int // of each group: the term of each of its unknowns
	part    [][]int // of each group: the shared unknowns that it has part in, in order; all fixed effects first
	leaf    int     // the term that is eliminated first; -1 = none
	many    bool    // there are more than mostShared

	info   *mat.SymDense // see Step, and where it was worked out
	infoAt []float64

	order    []int       // observations by group, in it by leaf
	begin    []int       // of each group in order, and the end
	portions [][]portion // of each group
	class    []int32     // of each observation, its class in its portion
	blocks   *spares[block]
	inverses *spares[inverseWork]
	spare    *solution // memory of a solution that is no longer looked at

	chunks []*sum // of groups that stand together: their number follows from the data alone, so that sums do
}

// noUnknown is the place of a level that has none.
const noUnknown = -1

// mostShared is how many unknowns are shared at most before those levels are taken for
// local which one group alone has: the shared ones cost their cube. A test sets it.
var mostShared = 400

// layOut checks the shapes and gives each unknown its place. It is worked out once for
// each number of fixed effects.
func (m *Mixed) layOut() (*layout, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	n, fixed := m.dims()
	if m.lay != nil && m.lay.nFixed == fixed {
		return m.lay, nil
	}
	lay := &layout{Mixed: m, blocks: new(spares[block]), inverses: new(spares[inverseWork]), n: n, nFixed: fixed, nShared: fixed, places: make([][]int, len(m.Terms)), local: make([][]int, len(m.Terms)), group: make([][]int, len(m.Terms))}
	groups := 1
	for _, g := range m.Group {
		groups = max(groups, int(g)+1)
	}
	lay.sizes, lay.termOf = make([]int, groups), make([][]int, groups)
	shared := fixed
	for k := range m.Terms {
		lay.measure(k)
		if !lay.isLocal(k) {
			shared += lay.levels[k] * lay.size[k]
		}
	}
	lay.many = shared > mostShared && m.Group != nil
	lay.leaf = lay.chooseLeaf()
	for k := range m.Terms {
		if k != lay.leaf {
			lay.place(k)
		}
	}
	lay.mids = slices.Clone(lay.sizes)
	if lay.leaf >= 0 {
		lay.place(lay.leaf)
	}
	lay.sortObservations()
	lay.findParts()
	lay.cutIntoPortions()
	lay.cutIntoChunks()
	m.lay = lay
	return lay, nil
}

// With is the same model with other observations and weights; the number of fixed effects stays.
func (m *Mixed) With(given Observations, weight []float64) *Mixed {
	out := *m
	out.Given, out.Weight = given, weight
	if m.lay != nil {
		out.lay = m.lay.withOwnChunks()
		out.lay.Mixed = &out
	}
	return &out
}

// dims is the number of observations and of fixed effects.
func (m *Mixed) dims() (n, fixed int) {
	if m.Given != nil {
		return m.Given.Len(), m.Given.Fixed()
	}
	if m.X != nil {
		_, fixed = m.X.Dims()
	}
	return len(m.Y), fixed
}

// check refuses rows that do not match the observations.
func (m *Mixed) check() error {
	n, _ := m.dims()
	if n == 0 {
		return errors.New("no observations")
	}
	if m.Given == nil && m.X != nil {
		if r, _ := m.X.Dims(); r != n {
			return fmt.Errorf("fixed effects have %d rows for %d observations", r, n)
		}
	}
	for _, t := range m.Terms {
		if t.Level != nil && len(t.Level) != n || (t.Z != nil && len(t.Z) != n) {
			return fmt.Errorf("term %q does not have one row an observation", t.Name)
		}
	}
	return nil
}

// measure counts the covariates and levels of term k.
func (lay *layout) measure(k int) {
	t := &lay.Terms[k]
	size, levels := 1, 0
	if t.Z != nil {
		size = len(t.Z[0])
	}
	for _, l := range t.Level {
		levels = max(levels, int(l)+1)
	}
	lay.size, lay.levels = append(lay.size, size), append(lay.levels, levels)
}

func (lay *layout) isLocal(k int) bool { return lay.Terms[k].Local && lay.Group != nil }

func (lay *layout) chooseLeaf() int {
	leaf := -1
	for k := range lay.Terms {
		if lay.isLocal(k) && lay.size[k] == 1 && lay.levels[k] > 0 && (leaf < 0 || lay.levels[k] > lay.levels[leaf]) {
			leaf = k
		}
	}
	return leaf
}

// place gives the levels of term k their places.
func (lay *layout) place(k int) {
	size, levels := lay.size[k], lay.levels[k]
	shared := lay.isShared(k)
	lay.places[k], lay.local[k], lay.group[k] = slices.Repeat([]int{noUnknown}, levels), slices.Repeat([]int{noUnknown}, levels), make([]int, levels)
	for l := range levels {
		if shared(l) {
			lay.places[k][l] = lay.nShared
			lay.nShared += size
		}
	}
	for i, l := range lay.Terms[k].Level {
		if l < 0 || lay.places[k][l] >= 0 || lay.local[k][l] >= 0 {
			continue
		}
		g := lay.groupOf(i)
		lay.local[k][l], lay.group[k][l] = lay.sizes[g], g
		lay.sizes[g] += size
		lay.termOf[g] = append(lay.termOf[g], slices.Repeat([]int{k}, size)...)
	}
}

// isShared tells which levels of term k are shared.
func (lay *layout) isShared(k int) func(l int) bool {
	switch {
	case lay.isLocal(k):
		return func(int) bool { return false }
	case !lay.many:
		return func(int) bool { return true }
	}
	const none, several = -1, -2
	only := slices.Repeat([]int{none}, lay.levels[k]) // the group that has a level
	for i, l := range lay.Terms[k].Level {
		switch {
		case l < 0:
		case only[l] == none:
			only[l] = lay.groupOf(i)
		case only[l] != lay.groupOf(i):
			only[l] = several
		}
	}
	return func(l int) bool { return only[l] == several }
}

// findParts finds the shared unknowns that each group has part in.
func (lay *layout) findParts() {
	lay.part = make([][]int, len(lay.sizes))
	InParallel(len(lay.sizes), func(from, to int) {
		seen := make([]int, lay.nShared) // 1 + the last group that has part in it
		for g := from; g < to; g++ {
			part := make([]int, lay.nFixed)
			for j := range part {
				part[j] = j
			}
			for _, i := range lay.order[lay.begin[g]:lay.begin[g+1]] {
				for k := range lay.Terms {
					l := lay.Terms[k].Level.At(i)
					if l < 0 || lay.places[k][l] < 0 || seen[lay.places[k][l]] == g+1 {
						continue
					}
					seen[lay.places[k][l]] = g + 1
					for c := range lay.size[k] {
						part = append(part, lay.places[k][l]+c)
					}
				}
			}
			if len(part) == 0 {
				part = []int{0} // the equation that stands for none
			}
			slices.Sort(part)
			lay.part[g] = part
		}
	})
}

// sortObservations puts the observations in order.
func (lay *layout) sortObservations() {
	lay.order = make([]int, lay.n)
	for i := range lay.order {
		lay.order[i] = i
	}
	byGroup := func(a, b int) int {
		return cmp.Or(cmp.Compare(lay.groupOf(a), lay.groupOf(b)), cmp.Compare(lay.leafOf(a), lay.leafOf(b)))
	}
	if !slices.IsSortedFunc(lay.order, byGroup) {
		slices.SortStableFunc(lay.order, byGroup)
	}
	lay.begin = make([]int, len(lay.sizes)+1)
	for _, i := range lay.order {
		lay.begin[lay.groupOf(i)+1]++
	}
	for g := range lay.sizes {
		lay.begin[g+1] += lay.begin[g]
	}
}

// groupOf is the group of an observation.
func (lay *layout) groupOf(i int) int {
	if lay.Group == nil {
		return 0
	}
	return int(lay.Group[i])
}

// leafOf is the level of the leaf that an observation belongs to; -1 = none.
func (lay *layout) leafOf(i int) int {
	if lay.leaf < 0 {
		return -1
	}
	return lay.Terms[lay.leaf].Level.At(i)
}

// runs calls do for each run of observations of one group and one leaf.
func (lay *layout) runs(group int, do func(observations []int)) {
	lay.runsIn(lay.begin[group], lay.begin[group+1], do)
}

// runsIn calls it for those between two places in the layout's order.
func (lay *layout) runsIn(from, to int, do func(observations []int)) {
	for all := lay.order[from:to]; len(all) > 0; {
		n, leaf := 1, lay.leafOf(all[0])
		for n < len(all) && lay.leafOf(all[n]) == leaf {
			n++
		}
		do(all[:n])
		all = all[n:]
	}
}

// priorSD is the standard deviation of a fixed effect's prior; 0 when it has none.
func (m *Mixed) priorSD(j int) float64 {
	if m.Prior == nil {
		return 0
	}
	return m.Prior[j].SD
}

// noise is the residual variance of one observation of full weight.
func (m *Mixed) noise(sigma float64, i int) float64 {
	v := sigma * sigma
	if m.Known != nil {
		v += m.Known[i]
	}
	return v
}
