package fit

import (
	"math"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// moments are sums over cells of some columns and of their products: what a least-squares
// line within pickups needs to know, so that cells are left out by taking sums off.
// Columns are counted from their means over all cells, against rounding.
type moments struct {
	n       float64
	sum     []float64
	product []float64 // columns x columns, by rows
}

func newMoments(columns int) moments {
	return moments{0, make([]float64, columns), make([]float64, columns*columns)}
}

// add adds one cell's columns, or takes them off by a sign of -1.
func (m *moments) add(sign float64, x []float64) {
	m.n += sign
	for j, v := range x {
		m.sum[j] += sign * v
		floats.AddScaled(m.product[j*len(x):(j+1)*len(x)], sign*v, x)
	}
}

func (m *moments) clone() moments {
	return moments{m.n, slices.Clone(m.sum), slices.Clone(m.product)}
}

// pooled are the moments within pickups, each about its own mean, and the sum of the
// pickups' means.
type pooled struct {
	pickups float64
	cells   float64
	within  []float64 // products of columns about their pickup's mean
	means   []float64 // sum over pickups
}

func newPooled(columns int) *pooled {
	return &pooled{0, 0, make([]float64, columns*columns), make([]float64, columns)}
}

func (p *pooled) clone() *pooled {
	return &pooled{p.pickups, p.cells, slices.Clone(p.within), slices.Clone(p.means)}
}

// pool adds up the moments of pickups.
func pool(pickups []moments) *pooled {
	p := newPooled(len(pickups[0].sum))
	for k := range pickups {
		p.add(&pickups[k], 1)
	}
	return p
}

// add adds one pickup, or takes it off by a sign of -1.
func (p *pooled) add(m *moments, sign float64) {
	if m.n <= 0 {
		return
	}
	p.pickups += sign
	p.cells += sign * m.n
	floats.AddScaled(p.means, sign/m.n, m.sum)
	floats.AddScaled(p.within, sign, m.product)
	k := len(m.sum)
	for j, v := range m.sum {
		floats.AddScaled(p.within[j*k:(j+1)*k], -sign*v/m.n, m.sum)
	}
}

// mean is the mean of pickups' means of a column, from the column's mean over all cells.
func (p *pooled) mean(column int) float64 { return p.means[column] / p.pickups }

// at is the product of two columns.
func (p *pooled) at(j, k int) float64 { return p.within[j*len(p.means)+k] }

// column is the products of a column with others.
func (p *pooled) column(column int, others []int) []float64 {
	out := make([]float64, len(others))
	for i, j := range others {
		out[i] = p.at(j, column)
	}
	return out
}

// leftBy is the root mean square of a column's residuals on others; 0 where these make
// each other up.
func (p *pooled) leftBy(column int, others []int) float64 {
	ss := p.at(column, column)
	if len(others) > 0 {
		b, ok := p.solve(column, others)
		if !ok {
			return 0
		}
		for i, j := range others {
			ss -= b[i] * p.at(j, column)
		}
	}
	return math.Sqrt(max(0, ss) / p.cells)
}

// solve is the least-squares line of a column on others, false where these make each
// other up as far as sums of squares tell.
func (p *pooled) solve(column int, others []int) (b []float64, ok bool) {
	n, ok := p.normal(others)
	if !ok {
		return nil, false
	}
	return n.solve(p.column(column, others)), true
}

// normalEquations are those of some columns, which are counted in units that bring the
// diagonal to 1.
type normalEquations struct {
	chol mat.Cholesky
	unit []float64
}

// normal is the normal equations of columns, false where these make each other up as far
// as sums of squares tell.
func (p *pooled) normal(columns []int) (*normalEquations, bool) {
	n := &normalEquations{unit: make([]float64, len(columns))}
	for i, j := range columns {
		n.unit[i] = 1 / math.Sqrt(p.at(j, j))
	}
	a := mat.NewSymDense(len(columns), nil)
	for i, j := range columns {
		for k := i; k < len(columns); k++ {
			a.SetSym(i, k, n.unit[i]*p.at(j, columns[k])*n.unit[k])
		}
	}
	return n, n.chol.Factorize(a) && n.chol.Cond() <= 1e10
}

// solve solves for one right-hand side.
func (n *normalEquations) solve(right []float64) []float64 {
	x := mat.NewVecDense(len(right), nil)
	for i, v := range right {
		x.SetVec(i, n.unit[i]*v)
	}
	n.chol.SolveVecTo(x, x) // its condition is known to be good
	for i := range right {
		x.SetVec(i, n.unit[i]*x.AtVec(i))
	}
	return x.RawVector().Data
}

// inverse is the inverse of the equations' matrix.
func (n *normalEquations) inverse() *mat.SymDense {
	var inv mat.SymDense
	n.chol.InverseTo(&inv) // likewise
	for i := range n.unit {
		for k := i; k < len(n.unit); k++ {
			inv.SetSym(i, k, n.unit[i]*inv.At(i, k)*n.unit[k])
		}
	}
	return &inv
}

// logColumns are the columns of a kind's terms: their values, then the lengths that have to
// differ for the data to tell them, then the level.
type logColumns struct {
	terms []term
	from  []float64 // the columns' means over all cells
}

func (c *logColumns) count() int { return 2*len(c.terms) + 1 }
func (c *logColumns) level() int { return 2 * len(c.terms) }

// write writes a cell's columns.
func (c *logColumns) write(dst []float64, of *cell.Cell) {
	for j, t := range c.terms {
		dst[j] = t.value(of)
		dst[len(c.terms)+j] = dst[j]
		if t.moved != nil {
			dst[len(c.terms)+j] = t.moved(of)
		}
	}
	dst[c.level()] = of.Mean
	if c.from != nil {
		floats.Sub(dst, c.from)
	}
}

// columnsOf are a kind's columns for cells, about their means over those that are trusted.
func columnsOf(terms []term, cells []cell.Cell, trusted func(*cell.Cell) bool) *logColumns {
	c := &logColumns{terms: terms}
	sum, row, n := make([]float64, c.count()), make([]float64, c.count()), 0.0
	for i := range cells {
		if trusted(&cells[i]) {
			c.write(row, &cells[i])
			floats.Add(sum, row)
			n++
		}
	}
	floats.Scale(1/n, sum)
	c.from = sum
	return c
}

// choose takes the terms whose effects the moments can tell: those that move the lengths
// apart from the terms taken before, as long as there are enough cells. reject is told of
// the others; it may be nil.
func (c *logColumns) choose(p *pooled, reject func(t term, tooFew bool)) (taken []int) {
	for j, t := range c.terms {
		tooFew := p.cells-p.pickups-float64(len(taken)) < 2 // one degree of freedom stays for the residual
		if !tooFew && p.leftBy(len(c.terms)+j, taken) >= t.leastMoved {
			taken = append(taken, j)
		} else if reject != nil {
			reject(t, tooFew)
		}
	}
	return taken
}

// logLeaver leaves parts out of a log-linear model by taking their sums off.
type logLeaver struct {
	kind    *logColumns
	cells   []cell.Cell
	groups  groups                // of cells, by pickup
	trusted func(*cell.Cell) bool // a least-squares line would follow a mistake
	pickups []moments             // of each, of the cells that are trusted
	all     *pooled
}

// newLogLeaver adds up cells, those that are trusted.
func newLogLeaver(terms []term, cells []cell.Cell) *logLeaver {
	l := &logLeaver{cells: cells, groups: byPickup(cells), trusted: cell.Trusting(cells)}
	l.kind = columnsOf(terms, cells, l.trusted)
	l.pickups = l.sums()
	l.all = pool(l.pickups)
	return l
}

// leaver is nil where every part has to be left out by fitting the rest: where cells
// differ in what the model goes by.
func (m *logLinear) leaver(d *cell.Data) *logLeaver {
	if m.fitted == nil || len(m.fitted.cells) != len(d.Cells) {
		return nil
	}
	return m.fitted
}

// mean is the mean of pickups' means of a column.
func (l *logLeaver) mean(column int) float64 { return l.all.mean(column) + l.kind.from[column] }

// residuals are what the line b of the level on some columns leaves of each cell that is
// trusted, within pickups, and their products with the columns.
func (l *logLeaver) residuals(columns []int, b []float64) (residuals, products []float64) {
	residuals, products = make([]float64, 0, len(l.cells)), make([]float64, len(columns))
	row, level := make([]float64, l.kind.count()), l.kind.level()
	for i := range l.cells {
		if !l.trusted(&l.cells[i]) {
			continue
		}
		l.kind.write(row, &l.cells[i])
		p := &l.pickups[l.groups.of[i]]
		r := row[level] - p.sum[level]/p.n
		for x, j := range columns {
			row[j] -= p.sum[j] / p.n
			r -= b[x] * row[j]
		}
		residuals = append(residuals, r)
		for x, j := range columns {
			products[x] += r * row[j]
		}
	}
	return residuals, products
}

// sums are the moments of each pickup.
func (l *logLeaver) sums() []moments {
	sums := make([]moments, l.groups.n)
	row := make([]float64, l.kind.count())
	for k := range sums {
		sums[k] = newMoments(l.kind.count())
	}
	for i := range l.cells {
		if !l.trusted(&l.cells[i]) {
			continue
		}
		l.kind.write(row, &l.cells[i])
		sums[l.groups.of[i]].add(1, row)
	}
	return sums
}

func (l *logLeaver) withoutPickup(k int) (func(i int) float64, error) {
	return l.expectFrom(l.others(k))
}

// unseen takes what the model leaves of the others' cells for the standard deviation.
func (l *logLeaver) unseen(k int) (expect, balanceSD func(i int) float64, err error) {
	rest := l.others(k)
	if expect, err = l.expectFrom(rest); err != nil {
		return nil, nil, err
	}
	taken := l.kind.choose(rest, nil)
	sd := rest.leftBy(l.kind.level(), taken) * math.Sqrt(rest.cells/(rest.cells-rest.pickups-float64(len(taken))))
	return expect, func(int) float64 { return sd }, nil
}

// others are the moments of all pickups but one.
func (l *logLeaver) others(k int) *pooled {
	rest := l.all.clone()
	rest.add(&l.pickups[k], -1)
	return rest
}

func (l *logLeaver) withoutCells(out []int) (func(i int) float64, error) {
	rest, row := l.all.clone(), make([]float64, l.kind.count())
	for len(out) > 0 {
		k := l.groups.of[out[0]]
		left := l.pickups[k].clone()
		for len(out) > 0 && l.groups.of[out[0]] == k {
			if c := &l.cells[out[0]]; l.trusted(c) {
				l.kind.write(row, c)
				left.add(-1, row)
			}
			out = out[1:]
		}
		rest.add(&l.pickups[k], -1)
		rest.add(&left, 1)
	}
	return l.expectFrom(rest)
}

// expectFrom predicts cells from what the rest says.
func (l *logLeaver) expectFrom(rest *pooled) (func(i int) float64, error) {
	if rest.cells < 1 {
		return nil, errRefit
	}
	taken := l.kind.choose(rest, nil)
	if len(taken) == 0 {
		return nil, errRefit
	}
	b, ok := rest.solve(l.kind.level(), taken)
	if !ok {
		return nil, errRefit
	}
	mean := rest.mean(l.kind.level()) + l.kind.from[l.kind.level()]
	centre := make([]float64, len(taken))
	for i, j := range taken {
		centre[i] = rest.mean(j) + l.kind.from[j]
	}
	return func(i int) float64 {
		y := mean
		for x, j := range taken {
			y += b[x] * (l.kind.terms[j].value(&l.cells[i]) - centre[x])
		}
		if !solve.Finite(y) {
			return math.NaN()
		}
		return y
	}, nil
}
