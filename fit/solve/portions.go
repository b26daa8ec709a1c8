package solve

// portion is some of a group's observations, whole leaves, that are added up together.
//
// Observations of a portion fall into classes: those of one class multiply all unknowns
// but the fixed effects and their leaf by the same. So these are added up by class, and
// only the sums are multiplied out (see [moments]): a class stands for half a dozen
// unknowns, and has many observations.
type portion struct {
	from, to int   // observations, in the layout's order
	first    []int // of each class: its first observation
}

// The bounds of a portion that has more than one leaf: products of classes with each
// other, and rows, are kept while it is worked on.
const (
	mostClasses = 64
	mostRows    = 1024
)

// cutIntoPortions finds the classes of observations, and cuts groups where these become
// many.
func (lay *layout) cutIntoPortions() {
	lay.portions, lay.class = make([][]portion, len(lay.sizes)), make([]int32, lay.n)
	for g := range lay.sizes {
		c := classifier{lay: lay, at: lay.begin[g]}
		lay.runs(g, c.add)
		c.end()
		lay.portions[g] = c.done
	}
}

// classifier cuts one group.
type classifier struct {
	lay  *layout
	done []portion
	at   int // the next observation, in order
	open portion
	last int // the class that was found last: classes mostly follow each other in the same order
}

// add adds observations that stand together: those of one leaf, to the open portion
// where they fit.
func (c *classifier) add(run []int) {
	if c.lay.leafOf(run[0]) < 0 {
		for o := range run { // they need not stay together
			c.addRun(run[o : o+1])
		}
		return
	}
	c.addRun(run)
}

func (c *classifier) addRun(run []int) {
	if c.open.to == 0 {
		c.open = portion{from: c.at}
	}
	known := len(c.open.first)
	for _, i := range run {
		c.lay.class[i] = c.classOf(i)
	}
	if rows := c.at - c.open.from; rows > 0 && (len(c.open.first) > mostClasses || rows+len(run) > mostRows) {
		c.open.first = c.open.first[:known]
		c.end()
		c.addRun(run)
		return
	}
	c.at += len(run)
	c.open.to = c.at
}

// end ends the open portion.
func (c *classifier) end() {
	if c.open.to > 0 {
		c.done = append(c.done, c.open)
	}
	c.open, c.last = portion{}, 0
}

// classOf is the class of observation i, a new one where there is none yet.
func (c *classifier) classOf(i int) int32 {
	n := len(c.open.first)
	for tried := range n {
		k := (c.last + 1 + tried) % n
		if c.lay.sameTerms(i, c.open.first[k]) {
			c.last = k
			return int32(k)
		}
	}
	c.open.first = append(c.open.first, i)
	c.last = n
	return int32(n)
}

// sameTerms reports whether two observations of one group are of one class.
func (lay *layout) sameTerms(i, j int) bool {
	for k := range lay.Terms {
		t := &lay.Terms[k]
		if k == lay.leaf || t.Level == nil {
			continue
		}
		if t.Level[i] != t.Level[j] || (t.Z != nil || t.Varies) && t.Level[i] >= 0 {
			return false
		}
	}
	return true
}
