package screen

import (
	"math"
	"slices"
)

const (
	studentDF    = 8   // of the likelihood, see student
	unknownSD    = 0.5 // ln v, of a level that a mistake of no known kind made
	impossibleSD = 2   // ln v, of a level under lengths that cannot be
)

// locals is what is local to one pickup, given the whole record.
type locals struct {
	m       *levelModel
	p       *pickup
	n       int       // the pickup's level and its poles
	inverse []float64 // their covariance, the shared unknowns given: n by n
	mean    []float64 // when the shared unknowns are at given.mean
	through []float64 // by how much one unit of each shared unknown lowers them: n by unknowns
	covered []float64 // through times the covariance of the shared unknowns
	lifts   []lift    // of its sessions

	// What its cells say of parameters and classes, see elimination.
	a, b   []float64
	square float64
}

// localsOf works out what is local to a pickup. It stands on e until e is used again.
func localsOf(e *elimination, p *pickup) *locals {
	m := e.m
	e.eliminate(p)
	q := len(m.mean)
	l := &locals{m: m, p: p, n: e.locals, inverse: e.inverse, lifts: e.lifts, a: e.a, b: e.b, square: e.square}
	l.mean, l.through, l.covered = make([]float64, l.n), make([]float64, l.n*q), make([]float64, l.n*q)
	of := make([]float64, e.n)
	for x := range l.n {
		l.mean[x] = inner(e.right, e.inverse[x*l.n:(x+1)*l.n])
		clear(of)
		for y := range l.n {
			addScaled(of, e.inverse[x*l.n+y], e.coupled[y*e.n:(y+1)*e.n])
		}
		row := l.through[x*q : (x+1)*q]
		copy(row, of[:e.p])
		for k, c := range p.classes {
			for _, col := range c.columns {
				row[col] += of[e.p+k]
			}
		}
		for k, v := range row {
			if v != 0 {
				addScaled(l.covered[x*q:(x+1)*q], v, m.given.cov[k*q:(k+1)*q])
			}
		}
	}
	return l
}

// localsOf is what is local to a pickup by its name, to keep.
func (m *levelModel) localsOf(name string) *locals { return m.locals[m.number[name]]() }

// liftOf is what is known of the lift of a session of the pickup; what is usual where the
// pickup has no such session.
func (l *locals) liftOf(session int) *lift {
	if k := slices.Index(l.p.sessions, session); k >= 0 {
		return &l.lifts[k]
	}
	return &lift{precision: 1 / (liftVariance * l.m.scale * l.m.scale)}
}

// unexplained is the quadratic form of the levels of all cells of some pickups by their
// covariance given all other pickups.
func (m *levelModel) unexplained(of ...*locals) float64 {
	rest := &information{m.total.n, slices.Clone(m.total.precision), make([]float64, m.total.n)}
	var square float64
	for _, l := range of {
		addInformation(l.a, l.b, len(m.theta), l.p, rest, -1)
		square += l.square
	}
	// What pulls the shared unknowns away from where the others would have them.
	halfSolve(rest.factor(), rest.n, rest.weighted)
	return square + inner(rest.weighted, rest.weighted)
}

// expected is a row beside what the whole record lets expect of it.
type expected struct {
	row
	of       *locals
	lift     *lift
	local    []float64 // by the pickup's level and poles, once its lift is eliminated
	gradient []float64 // by the shared unknowns, once all that is local is eliminated
	covered  []float64 // gradient times the covariance of the shared unknowns
	own      float64   // variance of a pole that no other cell lies over
	left     float64   // residual
}

func (l *locals) expect(r row) *expected {
	x := &expected{row: r, of: l}
	if r.unknown {
		return x
	}
	q := len(l.m.mean)
	x.lift = l.liftOf(r.session)
	ratio := r.lift / x.lift.precision
	both := make([]float64, 2*q+l.n)
	x.gradient, x.covered, x.local = both[:q], both[q:2*q], both[2*q:]
	x.local[0] = 1
	if pole := l.p.pole(r.class.string); pole >= 0 {
		x.local[1+pole] = 1
	} else {
		x.own = poleVariance * l.m.scale * l.m.scale
	}
	copy(x.gradient, r.gradient)
	for _, col := range r.class.columns {
		x.gradient[col]++
	}
	addScaled(x.gradient[:len(x.lift.coupled)], -ratio, x.lift.coupled)
	for k, at := range x.lift.classes {
		c, v := l.p.classes[at], ratio*x.lift.byClass[k]
		x.local[0] -= v
		x.local[1+l.p.pole(c.string)] -= v
		for _, col := range c.columns {
			x.gradient[col] -= v
		}
	}
	for k, v := range x.gradient {
		if v != 0 {
			addScaled(x.covered, v, l.m.given.cov[k*q:(k+1)*q])
		}
	}
	for k, v := range x.local {
		if v != 0 {
			addScaled(x.gradient, -v, l.through[k*q:(k+1)*q])
			addScaled(x.covered, -v, l.covered[k*q:(k+1)*q])
		}
	}
	x.left = r.residual - inner(x.local, l.mean) - ratio*x.lift.weighted
	return x
}

// covariance is that of what two rows have of shared and of local unknowns, given the
// whole record.
func (x *expected) covariance(y *expected) float64 {
	v := inner(x.gradient, y.covered)
	if x.pickup != y.pickup {
		return v
	}
	v += quadratic(x.local, x.of.inverse, y.local)
	if x.session == y.session {
		v += x.row.lift * y.row.lift / x.lift.precision
	}
	if x == y {
		v += x.own
	}
	return v
}

// surroundings is all that is known but the levels of one mounting: the other pickups and
// the other cells of the mounting's pickup. Those count by their weights in the robust
// fit, the mounting's own levels in full. The mounting's levels are jointly normal about
// what the surroundings let expect, whatever mistake may have been made of it; but their
// scatter, and that of the pickup's other cells, is not quite known.
type surroundings struct {
	m     *levelModel
	own   []*expected // the mounting's cells as filed of which something is known
	taken []float64   // inverse of the covariance of what their fit leaves, square
	pull  []float64   // taken times what it leaves
	alone float64     // what the mounting adds to unexplained
	rest  float64     // quadratic form of the pickup's other cells, given the other pickups
	cells int         // of the pickup
}

// surroundingsOf takes the mounting's own levels away again from what the whole record
// says.
func surroundingsOf(l *locals, m mounting, unexplained float64) *surroundings {
	s := &surroundings{m: l.m, cells: len(l.p.cells)}
	for _, i := range m {
		if r := l.m.rows[i]; !r.unknown {
			s.own = append(s.own, l.expect(r))
		}
	}
	n := len(s.own)
	a := make([]float64, n*n)
	s.taken, s.pull = make([]float64, n*n), make([]float64, n)
	k := 0
	for _, i := range m {
		if l.m.rows[i].unknown {
			continue
		}
		for o := range k + 1 {
			a[k*n+o] = -s.own[k].covariance(s.own[o])
		}
		a[k*n+k] += l.m.rows[i].noise / l.m.weight[i]
		k++
	}
	factorise(a, n)
	invert(a, n, s.taken)
	for k := range s.pull {
		for o, x := range s.own {
			s.pull[k] += s.taken[k*n+o] * x.left
		}
	}
	for k, x := range s.own {
		s.alone += s.pull[k] * x.left
	}
	s.rest = max(0, unexplained-s.alone)
	return s
}

// among is a row beside what the surroundings let expect of it.
type among struct {
	*expected
	cov, taken []float64 // covariances with the mounting's own rows, and those times surroundings.taken
	left       float64
}

func (s *surroundings) place(x *expected) *among {
	n := len(s.own)
	y := &among{expected: x, left: x.left}
	if x.unknown {
		return y
	}
	both := make([]float64, 2*n)
	y.cov, y.taken = both[:n], both[n:]
	for k, o := range s.own {
		y.cov[k] = x.covariance(o)
	}
	for k := range y.taken {
		y.taken[k] = inner(y.cov, s.taken[k*n:(k+1)*n])
	}
	y.left += inner(y.cov, s.pull)
	return y
}

// covariance is that of what two rows have of shared and of local unknowns, given the
// surroundings.
func (y *among) covariance(z *among) float64 {
	return y.expected.covariance(z.expected) + inner(y.taken, z.cov)
}

// density is the joint density of rows that are added one by one.
type density struct {
	rows       []*among
	factor     []float64 // Cholesky factor of their covariance: most by most
	most       int
	solved     []float64
	halfLogDet float64
	square     float64
}

func newDensity(most int) *density {
	return &density{factor: make([]float64, most*most), most: most, solved: make([]float64, 0, most)}
}

// add adds a row whose own variance is more by extra; false where it is nothing that can be.
func (d *density) add(y *among, extra float64) bool {
	if y.unknown {
		d.halfLogDet += math.Log(impossibleSD)
		return true
	}
	k := len(d.rows)
	row := d.factor[k*d.most : (k+1)*d.most]
	for o, z := range d.rows {
		of := d.factor[o*d.most : o*d.most+o+1]
		row[o] = (y.covariance(z) - inner(of[:o], row)) / of[o]
	}
	v := y.covariance(y) + y.noise + extra - inner(row[:k], row)
	if !(v > 0) || math.IsInf(v, 1) {
		return false
	}
	row[k] = math.Sqrt(v)
	left := (y.left - inner(row[:k], d.solved)) / row[k]
	d.rows, d.solved = append(d.rows, y), append(d.solved, left)
	d.halfLogDet += math.Log(row[k])
	d.square += left * left
	return true
}

// student is ln of the density of levels, up to what all distributions of the same cells
// share. The scatter is not quite known: the density is Student's with studentDF degrees
// of freedom.
func student(cells int, halfLogDet, square float64) float64 {
	return -halfLogDet - (studentDF+float64(cells))/2*math.Log1p(square/studentDF)
}
