package screen

import (
	"math"
	"slices"
	"sync"
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
	square  float64   // see elimination

	e        *elimination // what stands on the pickup's rows; nil where they are not kept
	classCov []float64    // see byClass
	room     []float64    // memory of the lists
	of, row  []float64    // scratch
}

// fill works out what is local to a pickup, in place of another. It stands on e until e is
// used again.
func (l *locals) fill(e *elimination, p *pickup) {
	m := e.m
	e.eliminate(p)
	q := len(m.mean)
	l.m, l.p, l.e, l.n, l.inverse, l.square = m, p, e, e.locals, e.inverse, e.square
	l.room, l.classCov = grown(l.room, l.n+2*l.n*q), l.classCov[:0]
	l.mean, l.through, l.covered = l.room[:l.n], l.room[l.n:l.n+l.n*q], l.room[l.n+l.n*q:]
	l.of = grown(l.of, e.n)
	of := l.of
	for x := range l.n {
		l.mean[x] = inner(e.right, e.inverse[x*l.n:(x+1)*l.n])
		clear(of)
		for y := range l.n {
			addScaled(of, e.inverse[x*l.n+y], e.coupled[y*e.n:(y+1)*e.n])
		}
		row := l.through[x*q : (x+1)*q]
		copy(row, of[:e.params])
		for k, c := range p.classes {
			for _, col := range c.columns {
				row[col] += of[e.params+k]
			}
		}
		for k, v := range row {
			if v != 0 {
				addScaled(l.covered[x*q:(x+1)*q], v, m.given.cov[k*q:(k+1)*q])
			}
		}
	}
}

// kept is what is local to a pickup, worked out when it is first asked for. It does not
// keep what the pickup's rows say: that would be as much as the record.
type kept struct {
	once sync.Once
	locals
}

// localsOf is what is local to a pickup by its name, to keep.
func (m *levelModel) localsOf(name string) *locals {
	number := m.number[name]
	k := m.locals[number]
	k.once.Do(func() {
		e := m.elimination()
		k.fill(e, m.all[number])
		k.inverse, k.of, k.e = slices.Clone(k.inverse), nil, nil
		m.room.Put(e)
	})
	return &k.locals
}

// elimination is one that nobody else uses.
func (m *levelModel) elimination() *elimination {
	e, ok := m.room.Get().(*elimination)
	if !ok {
		return newElimination(m)
	}
	if e.round != m.rounds {
		e.at, e.round = m.curve.At(m.theta), m.rounds
	}
	return e
}

// liftOf is what is known of the lift of a session of the pickup; what is usual where the
// pickup has no such session.
func (l *locals) liftOf(session int) *lift {
	switch {
	case session < 0:
		return &l.m.usualLift
	case l.e != nil:
		return &l.e.lifts[session]
	}
	e, out := l.m.elimination(), &lift{}
	e.begin(l.p)
	e.placeClasses()
	e.openSession(session)
	e.liftOf(session, out)
	l.m.room.Put(e)
	return out
}

// unexplained is the quadratic form of the levels of all cells of some pickups by their
// covariance given all other pickups.
func (m *levelModel) unexplained(of ...*locals) float64 {
	rest := &information{m.total.n, slices.Clone(m.total.precision), make([]float64, m.total.n)}
	var square float64
	for _, l := range of {
		e := l.e
		if e == nil {
			e = m.elimination()
			e.eliminate(l.p)
			defer m.room.Put(e)
		}
		addInformation(e.a, e.b, e.params, l.p, rest, -1)
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
	room     []float64 // memory of the lists
}

// expect works out a row's; lift is that of its session.
func (l *locals) expect(x *expected, lift *lift) {
	r := &x.row
	x.of, x.own = l, 0
	if r.unknown {
		return
	}
	q := len(l.m.mean)
	x.lift = lift
	ratio := r.lift / x.lift.precision
	x.room = grown(x.room, 2*q+l.n)
	x.gradient, x.covered, x.local = x.room[:q], x.room[q:2*q], x.room[2*q:]
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

// byClass is the covariance, the whole record given, of the curve's parameters and, behind
// them, of the level that each class of the pickup's cells has beside the curve and its
// lift. It is worked out when it is first asked for.
func (l *locals) byClass() []float64 {
	if len(l.classCov) > 0 {
		return l.classCov
	}
	m, params := l.m, len(l.m.theta)
	q, n := len(m.mean), params+len(l.p.classes)
	cov := m.given.cov
	l.classCov = grown(l.classCov, n*n)
	set := func(i, k int, v float64) { l.classCov[i*n+k], l.classCov[k*n+i] = v, v }
	for i := range params {
		copy(l.classCov[i*n:i*n+params], cov[i*q:i*q+params])
	}
	l.row = grown(l.row, l.n*l.n+q)
	own := l.row[:l.n*l.n] // of the pickup's level and poles
	for x := range l.n {
		for y := range l.n {
			own[x*l.n+y] = l.inverse[x*l.n+y] + inner(l.covered[x*q:(x+1)*q], l.through[y*q:(y+1)*q])
		}
	}
	row := l.row[l.n*l.n:] // covariances of one class with all shared unknowns
	for k, c := range l.p.classes {
		pole := 1 + l.p.pole(c.string)
		clear(row)
		for _, col := range c.columns {
			addScaled(row, 1, cov[col*q:(col+1)*q])
		}
		addScaled(row, -1, l.covered[:q])
		addScaled(row, -1, l.covered[pole*q:(pole+1)*q])
		for i := range params {
			set(params+k, i, row[i])
		}
		for o, d := range l.p.classes[:k+1] {
			var v float64
			for _, col := range d.columns {
				v += row[col]
			}
			of := 1 + l.p.pole(d.string)
			for _, x := range [2]int{0, of} {
				for _, col := range c.columns {
					v -= l.covered[x*q+col]
				}
				v += own[x] + own[pole*l.n+x]
			}
			set(params+k, params+o, v)
		}
	}
	return l.classCov
}

// levels works out the covariance of what some rows of one session as filed have of
// shared and of local unknowns, given the whole record, and their residuals. The pickup is
// open.
func (l *locals) levels(cells []int, cov, left []float64) {
	if len(cells) == 0 {
		return
	}
	params := len(l.m.theta)
	by, n := l.byClass(), params+len(l.p.classes)
	lift := l.liftOf(l.e.row(cells[0]).session)
	l.of = grown(l.of, 2*n*len(cells))
	rows, through := l.of[:n*len(cells)], l.of[n*len(cells):]
	for x, i := range cells {
		r := l.e.row(i)
		ratio := r.lift / lift.precision
		row, to := rows[x*n:(x+1)*n], through[x*n:(x+1)*n]
		copy(row, r.gradient)
		row[params+slices.Index(l.p.classes, r.class)]++
		addScaled(row[:params], -ratio, lift.coupled)
		for k, at := range lift.classes {
			row[params+at] -= ratio * lift.byClass[k]
		}
		left[x] = r.residual - ratio*lift.weighted
		for k, v := range row {
			if v == 0 {
				continue
			}
			addScaled(to, v, by[k*n:(k+1)*n])
			if k >= params {
				left[x] -= v * (l.mean[0] + l.mean[1+l.p.pole(l.p.classes[k-params].string)])
			}
		}
		for y := range x + 1 {
			v := inner(row, through[y*n:(y+1)*n]) + ratio*l.e.row(cells[y]).lift
			cov[x*len(cells)+y], cov[y*len(cells)+x] = v, v
		}
	}
}

// surroundings is all that is known but the levels of one mounting: the other pickups and
// the other cells of the mounting's pickup. Those count by their weights in the robust
// fit, the mounting's own levels in full. The mounting's levels are jointly normal about
// what the surroundings let expect, whatever mistake may have been made of it; but their
// scatter, and that of the pickup's other cells, is not quite known. It is used again for
// mounting after mounting.
type surroundings struct {
	l     *locals
	known []int     // the mounting's cells of whose levels something is known
	cov   []float64 // covariance of what these have of shared and of local unknowns, given the whole record; square
	left  []float64 // their residuals, given the whole record
	taken []float64 // inverse of the covariance of these, square
	pull  []float64 // taken times left
	alone float64   // what the mounting adds to unexplained
	rest  float64   // quadratic form of the pickup's other cells, given the other pickups
	cells int       // of the pickup

	own      []*expected // the rows of known as filed
	asked    bool        // they have been worked out
	room, of []float64   // memory of the lists
}

// fill takes the levels of a mounting of an open pickup away again from what the whole
// record says.
func (s *surroundings) fill(l *locals, m mounting, unexplained float64) {
	s.l, s.cells, s.known, s.asked = l, len(l.p.cells), s.known[:0], false
	for _, i := range m {
		if !l.e.row(i).unknown {
			s.known = append(s.known, i)
		}
	}
	n := len(s.known)
	s.room = grown(s.room, 4*n*n+2*n)
	s.cov, s.taken, s.left, s.pull = s.room[:n*n], s.room[n*n:2*n*n], s.room[4*n*n:4*n*n+n], s.room[4*n*n+n:]
	a, room := s.room[2*n*n:3*n*n], s.room[3*n*n:4*n*n]
	l.levels(s.known, s.cov, s.left)
	for k, i := range s.known {
		for o := range k + 1 {
			a[k*n+o] = -s.cov[k*n+o]
		}
		a[k*n+k] += l.e.row(i).noise / l.m.weight[i]
	}
	factorise(a, n)
	invert(a, n, s.taken, room)
	for k := range s.pull {
		s.pull[k] = inner(s.left, s.taken[k*n:(k+1)*n])
	}
	s.alone = inner(s.pull, s.left)
	s.rest = max(0, unexplained-s.alone)
}

// filed works out the density of the mounting's levels as filed, where a mistake of no
// known kind made those of some cells; false where there is none.
func (s *surroundings) filed(m mounting, unknown []int, d *density) bool {
	n := len(s.known)
	s.of = grown(s.of, 2*n)
	row, through := s.of[:n], s.of[n:]
	k := 0
	for _, i := range m {
		r := s.l.e.row(i)
		if r.unknown {
			d.addUnknown()
			continue
		}
		own := s.cov[k*n : (k+1)*n]
		for o := range through {
			through[o] = inner(own, s.taken[o*n:(o+1)*n])
		}
		for o := range k + 1 {
			row[o] = own[o] + inner(through, s.cov[o*n:(o+1)*n])
		}
		noise := r.noise
		if slices.Contains(unknown, i) {
			noise += unknownSD * unknownSD
		}
		if !d.add(row[:k], row[k]+noise, s.left[k]+inner(own, s.pull)) {
			return false
		}
		k++
	}
	return true
}

// rows are the mounting's rows as filed.
func (s *surroundings) rows() []*expected {
	if !s.asked {
		s.asked = true
		for len(s.own) < len(s.known) {
			s.own = append(s.own, &expected{})
		}
		for k, i := range s.known {
			s.own[k].row = *s.l.e.row(i)
			s.l.expect(s.own[k], s.l.liftOf(s.own[k].session))
		}
	}
	return s.own[:len(s.known)]
}

// asFiled is a cell of the mounting as filed.
func (s *surroundings) asFiled(i int) *expected {
	if k := slices.Index(s.known, i); k >= 0 {
		return s.rows()[k]
	}
	return &expected{row: *s.l.e.row(i), of: s.l}
}

// among is a row beside what the surroundings let expect of it.
type among struct {
	*expected
	cov, taken []float64 // covariances with the mounting's own rows, and those times surroundings.taken
	left       float64
	own        *expected // memory for a row that is not as filed
	room       []float64 // memory of the lists
}

// place works out what a row is among the surroundings.
func (s *surroundings) place(y *among, x *expected) {
	n := len(s.known)
	y.expected, y.left = x, x.left
	if x.unknown {
		return
	}
	y.room = grown(y.room, 2*n)
	y.cov, y.taken = y.room[:n], y.room[n:]
	for k, o := range s.rows() {
		y.cov[k] = x.covariance(o)
	}
	for k := range y.taken {
		y.taken[k] = inner(y.cov, s.taken[k*n:(k+1)*n])
	}
	y.left += inner(y.cov, s.pull)
}

// covariance is that of what two rows have of shared and of local unknowns, given the
// surroundings.
func (y *among) covariance(z *among) float64 {
	return y.expected.covariance(z.expected) + inner(y.taken, z.cov)
}

// density is the joint density of levels that are added one by one.
type density struct {
	factor     []float64 // Cholesky factor of their covariance: most by most
	most       int
	left       []float64
	solved     []float64 // left by the factor
	halfLogDet float64
	square     float64
	room       []float64 // memory of the lists
}

// reset takes all levels away and makes room for so many.
func (d *density) reset(most int) {
	if d.most != most {
		d.room = grown(d.room, most*most+2*most)
		d.most, d.factor = most, d.room[:most*most]
		d.left, d.solved = d.room[most*most:most*most:most*most+most], d.room[most*most+most:]
	}
	d.left, d.solved, d.halfLogDet, d.square = d.left[:0], d.solved[:0], 0, 0
}

// addUnknown adds a level of which nothing is known.
func (d *density) addUnknown() { d.halfLogDet += math.Log(impossibleSD) }

// add adds a level with its covariances with those before, its variance and how far it
// lies from what is expected; false where it is nothing that can be.
func (d *density) add(cov []float64, variance, left float64) bool {
	k := len(d.left)
	row := d.factor[k*d.most : (k+1)*d.most]
	for o, v := range cov {
		of := d.factor[o*d.most : o*d.most+o+1]
		row[o] = (v - inner(of[:o], row)) / of[o]
	}
	v := variance - inner(row[:k], row)
	if !(v > 0) || math.IsInf(v, 1) {
		return false
	}
	row[k] = math.Sqrt(v)
	solved := (left - inner(row[:k], d.solved)) / row[k]
	d.left, d.solved = append(d.left, left), append(d.solved, solved)
	d.halfLogDet += math.Log(row[k])
	d.square += solved * solved
	return true
}

// student is ln of the density of levels, up to what all distributions of the same cells
// share. The scatter is not quite known: the density is Student's with studentDF degrees
// of freedom.
func student(cells int, halfLogDet, square float64) float64 {
	return -halfLogDet - (studentDF+float64(cells))/2*math.Log1p(square/studentDF)
}
