package screen

// elimination adds up what the cells of one pickup say, and eliminates what is local to
// it: the lifts of its mountings one by one, each of which touches its own cells alone,
// then the pickup's level and its poles. Its unknowns are the curve's parameters and,
// behind them, one for each class of the pickup's cells: the sum of the effects that the
// class has part in. It is used again for pickup after pickup.
type elimination struct {
	*opened
	params  int
	n       int       // parameters and classes
	a       []float64 // information, n by n; the lower triangle counts
	b       []float64 // weighted residuals
	square  float64   // weighted squares of residuals, less what the local unknowns explain
	classAt []int     // place of each of the record's classes among the pickup's

	lifts []lift

	// The pickup's level and its poles: given the rest, their precision's inverse, by how
	// much they are coupled with the n unknowns, and weighted residuals.
	locals  int
	inverse []float64 // locals by locals
	coupled []float64 // locals by n
	right   []float64
	t       []float64 // scratch
	byClass []float64 // scratch
}

// lift is what the cells of one session say of its lift.
type lift struct {
	precision, weighted float64
	coupled             []float64 // with the parameters
	classes             []int     // places of classes that it is coupled with
	byClass             []float64 // how
}

func newElimination(m *levelModel) *elimination {
	return &elimination{opened: newOpened(m), params: len(m.theta), classAt: make([]int, len(m.classes.of))}
}

// eliminate does all of it for one pickup, which it opens, at the cells' weights in the
// robust fit.
func (e *elimination) eliminate(p *pickup) {
	e.open(p)
	e.n = e.params + len(p.classes)
	e.a, e.b, e.square = grown(e.a, e.n*e.n), grown(e.b, e.n), 0
	e.placeClasses()
	e.lifts = e.lifts[:0]
	for k := range p.ends {
		e.addSession(k)
	}
	e.eliminateLocals(p)
}

// placeClasses writes down where the classes of the open pickup are.
func (e *elimination) placeClasses() {
	for k, c := range e.p.classes {
		e.classAt[c.number] = k
	}
}

// addSession adds the cells of one session and eliminates its lift.
func (e *elimination) addSession(number int) {
	if len(e.lifts) < cap(e.lifts) {
		e.lifts = e.lifts[:len(e.lifts)+1]
	} else {
		e.lifts = append(e.lifts, lift{})
	}
	l := &e.lifts[len(e.lifts)-1]
	e.liftOf(number, l)
	cells, from := e.p.session(number)
	for x, i := range cells {
		if r := &e.rows[from+x]; !r.unknown {
			e.addRow(r, e.m.weight[i]/r.noise)
		}
	}
	e.eliminateLift(l)
}

// liftOf works out what the cells of one session of the open pickup say of its lift.
func (e *elimination) liftOf(number int, l *lift) {
	l.precision, l.weighted = 1/(liftVariance*e.m.scale*e.m.scale), 0
	l.coupled, l.classes, l.byClass = grown(l.coupled, e.params), l.classes[:0], l.byClass[:0]
	cells, from := e.p.session(number)
	for x, i := range cells {
		r := &e.rows[from+x]
		if r.unknown {
			continue
		}
		lifted := e.m.weight[i] / r.noise * r.lift
		addScaled(l.coupled, lifted, r.gradient)
		l.classes = append(l.classes, e.classAt[r.class.number])
		l.byClass = append(l.byClass, lifted)
		l.precision += lifted * r.lift
		l.weighted += lifted * r.residual
	}
}

// addRow adds a cell that counts with the weight w.
func (e *elimination) addRow(r *row, w float64) {
	for i, g := range r.gradient {
		if g != 0 {
			addScaled(e.a[i*e.n:i*e.n+i+1], w*g, r.gradient)
		}
	}
	at := e.params + e.classAt[r.class.number]
	addScaled(e.a[at*e.n:at*e.n+e.params], w, r.gradient)
	e.a[at*e.n+at] += w
	weighted := w * r.residual
	addScaled(e.b[:e.params], weighted, r.gradient)
	e.b[at] += weighted
	e.square += weighted * r.residual
}

func (e *elimination) eliminateLift(l *lift) {
	for i, v := range l.coupled {
		if v != 0 {
			addScaled(e.a[i*e.n:i*e.n+i+1], -v/l.precision, l.coupled)
		}
	}
	for x, k := range l.classes {
		at := e.params + k
		row := e.a[at*e.n : at*e.n+e.n]
		f := -l.byClass[x] / l.precision
		addScaled(row[:e.params], f, l.coupled)
		for y, o := range l.classes {
			if o <= k {
				row[e.params+o] += f * l.byClass[y]
			}
		}
		e.b[at] += f * l.weighted
	}
	addScaled(e.b[:e.params], -l.weighted/l.precision, l.coupled)
	e.square -= l.weighted * l.weighted / l.precision
}

// eliminateLocals eliminates the pickup's level, which all classes have, and its poles.
func (e *elimination) eliminateLocals(p *pickup) {
	m, n := e.m, e.n
	e.locals = 1 + len(p.poles)
	e.coupled, e.right = grown(e.coupled, e.locals*n), grown(e.right, e.locals)
	for k := range p.classes { // the upper triangle of classes, too
		at := e.params + k
		for j := range k {
			e.a[(e.params+j)*n+at] = e.a[at*n+e.params+j]
		}
	}
	for k, c := range p.classes {
		at := e.params + k
		for _, l := range [2]int{0, 1 + p.pole(c.string)} {
			addScaled(e.coupled[l*n:l*n+n], 1, e.a[at*n:at*n+n])
			e.right[l] += e.b[at]
		}
	}
	e.t = grown(e.t, 2*e.locals*e.locals)
	t, room := e.t[:e.locals*e.locals], e.t[e.locals*e.locals:]
	for k, c := range p.classes {
		at := e.params + k
		for _, l := range [2]int{0, 1 + p.pole(c.string)} {
			for o := range e.locals {
				t[o*e.locals+l] += e.coupled[o*n+at]
			}
		}
	}
	for l := range e.locals {
		variance := poleVariance
		if l == 0 {
			variance = m.classes.pickupVariance()
		}
		t[l*e.locals+l] += 1 / (variance * m.scale * m.scale)
	}
	factorise(t, e.locals)
	e.inverse = grown(e.inverse, e.locals*e.locals)
	invert(t, e.locals, e.inverse, room)
	e.byClass = grown(e.byClass, n)
	for l := range e.locals {
		through := e.byClass
		clear(through)
		for o := range e.locals {
			addScaled(through, e.inverse[l*e.locals+o], e.coupled[o*n:o*n+n])
		}
		of := e.coupled[l*n : l*n+n]
		for i, v := range of {
			if v != 0 {
				addScaled(e.a[i*n:i*n+i+1], -v, through)
			}
		}
		addScaled(e.b, -e.right[l], through)
	}
	e.square -= quadratic(e.right, e.inverse, e.right)
}

// addInformation adds information on parameters and classes to that on the shared
// unknowns; a sign of -1 takes it away.
func addInformation(a, b []float64, params int, p *pickup, x *information, sign float64) {
	n, q := params+len(p.classes), x.n
	for i := range params {
		addScaled(x.precision[i*q:i*q+i+1], sign, a[i*n:i*n+i+1])
		x.weighted[i] += sign * b[i]
	}
	for k, c := range p.classes {
		row := a[(params+k)*n : (params+k)*n+n]
		for _, u := range c.columns {
			addScaled(x.precision[u*q:u*q+params], sign, row[:params])
			x.weighted[u] += sign * b[params+k]
			for o, d := range p.classes[:k+1] {
				v := sign * row[params+o]
				for _, w := range d.columns {
					switch {
					case u > w:
						x.precision[u*q+w] += v
					case u < w && o != k:
						x.precision[w*q+u] += v
					case u == w && o != k:
						x.precision[u*q+u] += 2 * v
					case u == w:
						x.precision[u*q+u] += v
					}
				}
			}
		}
	}
}
