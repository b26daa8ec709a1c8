package solve

import "gonum.org/v1/gonum/floats"

// moments add up weighted products of rows of one portion with each other: of fixed
// effects, observed values and classes.
//
// Products of fixed effects with each other are most of what there is to add. Rows are
// kept for them, by columns, which are multiplied when all rows are there.
type moments struct {
	fixed, classes int
	most, rows     int       // rows that there is room for, and those that are there
	columns        []float64 // of the rows: each fixed effect, then the observed value, then the weight
	sums           []float64 // of each class: fixed effects and the observed value
	pairs          []float64 // of each class with each: upper triangle

	active   []int     // memory: fixed effects that are not 0 throughout
	weighted []float64 // memory: one column
}

// combination is a weighted sum of rows, as sparse in classes as these are few.
type combination struct {
	fixed []float64 // fixed effects, then the observed value
	class []int32
	share []float64 // of each class in class
	place []int     // of each class of the portion: where it stands in class; noUnknown = nowhere
}

// reset empties the moments for a portion.
func (m *moments) reset(fixed, classes, most int) {
	m.fixed, m.classes, m.most, m.rows = fixed, classes, most, 0
	m.columns = grown(m.columns, (fixed+2)*most)
	m.sums, m.pairs = zeros(m.sums, classes*(fixed+1)), zeros(m.pairs, classes*classes)
}

// append appends a row.
func (m *moments) append(weight, y float64, fixed []float64) {
	at := m.rows
	m.rows++
	for _, v := range fixed {
		m.columns[at] = v
		at += m.most
	}
	m.columns[at], m.columns[at+m.most] = y, weight
}

// addObservation adds an observation's row.
func (m *moments) addObservation(weight, y float64, fixed []float64, class int32) {
	m.append(weight, y, fixed)
	m.addSums(class, weight, y, fixed)
	m.pairs[int(class)*(m.classes+1)] += weight
}

func (m *moments) addSums(class int32, times, y float64, fixed []float64) {
	from := int(class) * (m.fixed + 1)
	addScaled(m.sums[from:], times, fixed)
	m.sums[from+m.fixed] += times * y
}

// addScaled adds a few values, so many times: fewer than a call of floats.AddScaled is
// worth.
func addScaled(to []float64, times float64, values []float64) {
	to = to[:len(values)]
	for j := range to {
		to[j] += times * values[j]
	}
}

// addCombination adds a row that others make up.
func (m *moments) addCombination(weight float64, c *combination) {
	y, fixed := c.fixed[m.fixed], c.fixed[:m.fixed]
	m.append(weight, y, fixed)
	for x, class := range c.class {
		times := weight * c.share[x]
		m.addSums(class, times, y, fixed)
		for z := x; z < len(c.class); z++ {
			m.pairs[int(min(class, c.class[z]))*m.classes+int(max(class, c.class[z]))] += times * c.share[z]
		}
	}
}

// reset makes a combination of no rows.
func (c *combination) reset(m *moments) {
	for _, class := range c.class {
		c.place[class] = noUnknown
	}
	for len(c.place) < m.classes {
		c.place = append(c.place, noUnknown)
	}
	c.fixed, c.class, c.share = zeros(c.fixed, m.fixed+1), c.class[:0], c.share[:0]
}

// add adds an observation's row to the combination.
func (c *combination) add(times, y float64, fixed []float64, class int32) {
	addScaled(c.fixed, times, fixed)
	c.fixed[len(fixed)] += times * y
	at := c.place[class]
	if at == noUnknown {
		at = len(c.class)
		c.place[class] = at
		c.class, c.share = append(c.class, class), append(c.share, 0)
	}
	c.share[at] += times
}

// scale multiplies the combination.
func (c *combination) scale(times float64) {
	floats.Scale(times, c.fixed)
	floats.Scale(times, c.share)
}

// addScaled adds another combination, of rows of the same classes in the same order.
func (c *combination) addScaled(times float64, o *combination) {
	floats.AddScaled(c.fixed, times, o.fixed)
	floats.AddScaled(c.share, times, o.share)
}

// column is fixed effect j, or what follows them, of all rows.
func (m *moments) column(j int) []float64 { return m.columns[j*m.most : j*m.most+m.rows] }

// classEntries are what observations of classes multiply the unknowns of terms by, at their
// places in a block.
type classEntries struct {
	of  [][]entry
	row row
}

// write writes them; first is an observation of each class.
func (e *classEntries) write(s *solution, mid int, first []int) {
	for len(e.of) < len(first) {
		e.of = append(e.of, nil)
	}
	for c, i := range first {
		e.row.writeTerms(s, i)
		e.of[c] = append(e.of[c][:0], e.row.own...)
		for _, f := range e.row.shared {
			e.of[c] = append(e.of[c], entry{mid + f.at, f.v})
		}
	}
}

// addTo adds the products to a group's equations.
func (m *moments) addTo(b *block, e *classEntries) {
	m.addFixed(b)
	for c := range m.classes {
		m.addClass(b, c, e.of[c])
		for d := c; d < m.classes; d++ {
			if v := m.pairs[c*m.classes+d]; v != 0 {
				b.addPair(e.of[c], e.of[d], v, c == d)
			}
		}
	}
}

// addFixed adds the products of the fixed effects with each other and with the observed
// values.
func (m *moments) addFixed(b *block) {
	m.active = m.active[:0]
	for j := range m.fixed {
		if isAny(m.column(j)) {
			m.active = append(m.active, j)
		}
	}
	y, weight := m.column(m.fixed), m.column(m.fixed+1)
	m.weighted = grown(m.weighted, m.rows)
	for x, j := range m.active {
		floats.MulTo(m.weighted, weight, m.column(j))
		b.right[b.mid+j] += floats.Dot(m.weighted, y)
		to := b.matrix[(b.mid+j)*b.n+b.mid:]
		for _, k := range m.active[x:] {
			to[k] += floats.Dot(m.weighted, m.column(k))
		}
	}
}

// isAny reports whether any value is not 0.
func isAny(values []float64) bool {
	for _, v := range values {
		if v != 0 {
			return true
		}
	}
	return false
}

// addClass adds the products of a class with fixed effects and observed values.
func (m *moments) addClass(b *block, c int, entries []entry) {
	sums := m.sums[c*(m.fixed+1) : (c+1)*(m.fixed+1)]
	for _, e := range entries {
		b.right[e.at] += e.v * sums[m.fixed]
		if e.at < b.mid {
			floats.AddScaled(b.matrix[e.at*b.n+b.mid:e.at*b.n+b.mid+m.fixed], e.v, sums[:m.fixed])
			continue
		}
		at := b.mid*b.n + e.at
		for _, v := range sums[:m.fixed] {
			b.matrix[at] += e.v * v
			at += b.n
		}
	}
}

// addPair adds the products of the terms' unknowns of two classes, of which rows with both
// make up v, or of one with itself.
func (b *block) addPair(one, other []entry, v float64, same bool) {
	for x, e := range one {
		from := 0
		if same {
			from = x
		}
		for _, f := range other[from:] {
			by := v * e.v * f.v
			if e.at == f.at && !same {
				by *= 2
			}
			b.matrix[min(e.at, f.at)*b.n+max(e.at, f.at)] += by
		}
	}
}
