package screen

import "math"

// A shop that sets the poles of its pickups for every mounting has as many lists of pole
// heights as mountings, and a mounting may have been filed with any of them. For a fiftieth
// of what its density costs, rough says of a list that it cannot have enough evidence. What
// each height makes of a string's level is worked out once for a mounting. The pickup's
// level, its poles and the lift are taken for independent, with variances that are no less
// than theirs (Gershgorin's circles), so that the quadratic form is no more than it is. What
// is shared is known well where there are many lists: what it adds is taken as twice what
// it adds at the lowest or the highest poles.

// fewLists is of how many lists of pole heights each is weighed in full: rough takes as
// long to begin with a pickup.
const fewLists = 8

// beginRough forgets the heights of the last mounting.
func (s *screener) beginRough(b *baseline) {
	values := s.lists.group(s, b.mounting).values
	if len(b.rough.points) < len(values) {
		b.rough.points = append(b.rough.points, make([][]point, len(values)-len(b.rough.points))...)
	}
	for x, v := range values {
		if cap(b.rough.points[x]) < len(v) {
			b.rough.points[x] = make([]point, 2*len(v))
		}
		b.rough.points[x] = b.rough.points[x][:len(v)]
		clear(b.rough.points[x])
	}
	b.rough.usable = false
}

// beginPickup works out what all lists of one pickup have in common. The hypothesis is that
// of one of them, a mounting's, and needs so much evidence.
func (s *screener) beginPickup(b *baseline, h *hypothesis, list int, least float64) {
	r := &b.rough
	r.usable = false
	j := s.jointWith(b, s.cells[s.mountings[list][0]].Pickup)
	if s.levels.fields || j.at.session >= 0 || len(b.levels.known) < len(b.mounting) || s.lists.batches[list] == nil {
		return
	}
	l := j.locals
	r.batch = *s.lists.batches[list]
	r.lift, r.level = s.levels.usualLift.precision, 1/absoluteSum(l.inverse[:l.n])
	r.strings = r.strings[:0]
	group := s.lists.group(s, b.mounting)
	var apart, part, noise float64
	for x, i := range b.mounting {
		c := s.correctedCell(h, b, x)
		pole := 1 + l.p.pole(c.String)
		class := b.levels.l.e.classes.of(c, func(classKey) *class { return s.levels.classes.classOf(c) })
		own := roughString{mean: l.mean[0] + l.mean[pole], variance: class.unseen*s.levels.scale*s.levels.scale + absoluteSum(l.inverse[pole*l.n:(pole+1)*l.n])}
		for _, col := range class.columns {
			own.mean += s.levels.given.mean[col]
		}
		r.strings = append(r.strings, own)
		var shared, shift float64
		for _, height := range [2]float64{group.lowest[x], group.highest[x]} {
			c.PoleHeight = height
			y := b.place(0)
			b.levels.l.e.rowOf(c, i, j.at, &y.own.row)
			l.expect(y.own, j.liftOf(y.own.session))
			b.levels.place(y, y.own)
			local := quadratic(y.local, l.inverse, y.local) + y.row.lift*y.row.lift/y.lift.precision
			shared = max(shared, y.covariance(y)-local)
			shift = max(shift, math.Abs(y.left-y.expected.left))
		}
		variance := own.variance + math.Exp(2*b.least[x])
		apart += 4 * shift * shift / variance
		part += 2 * shared / variance
		noise += b.least[x]
	}
	r.apart, r.part = math.Sqrt(apart), 1+part
	gain := student(j.cells, b.density.halfLogDet, j.rest+b.density.square) + least
	r.most = studentDF*math.Expm1(-(gain+noise)*2/(studentDF+float64(j.cells))) - j.rest
	r.usable = b.density.halfLogDet-noise < least && r.most < math.MaxFloat64
}

// excludes reports whether a list of the pickup cannot have enough evidence.
func (s *screener) excludes(b *baseline, list int) bool {
	r := &b.rough
	batch := s.lists.batches[list]
	if !r.usable || batch == nil || *batch != r.batch {
		return false
	}
	var rr, rl, r1, ll, l1, w float64 // sums of products of residuals, lifts and ones, over variances
	for x, n := range s.lists.numbers[list] {
		p := &r.points[x][n]
		if !p.known {
			*p = s.pointOf(b, x, n)
		}
		left, weight := p.left-r.strings[x].mean, 1/(p.noise+r.strings[x].variance)
		rr += weight * left * left
		rl += weight * left * p.lift
		r1 += weight * left
		ll += weight * p.lift * p.lift
		l1 += weight * p.lift
		w += weight
	}
	ll += r.lift
	w += r.level
	form := rr - (rl*rl*w-2*rl*r1*l1+r1*r1*ll)/(ll*w-l1*l1)
	root := max(0, math.Sqrt(max(0, form))-r.apart)
	return root*root/r.part > r.most*(1+1e-9)
}

// pointOf is the x-th string of the mounting over a pole of another height.
func (s *screener) pointOf(b *baseline, x int, number int32) point {
	m, c := s.levels, &b.own
	i := b.mounting[x]
	*c = *s.cells[i]
	c.PoleHeight = s.lists.group(s, b.mounting).values[x][number]
	r := &b.place(0).own.row
	b.levels.l.e.rowOf(c, i, b.alone.at, r)
	left := r.residual
	for _, col := range r.class.columns { // those of its own class
		left += m.given.mean[col]
	}
	return point{true, left, r.lift, r.noise - r.class.unseen*m.scale*m.scale}
}

func absoluteSum(row []float64) (sum float64) {
	for _, v := range row {
		sum += math.Abs(v)
	}
	return sum
}
