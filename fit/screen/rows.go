package screen

import (
	"fmt"
	"iter"
	"maps"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"
)

// row is a cell with the model made linear about the last estimates.
type row struct {
	pickup, session int // the pickup's number in the model, and the session's among the pickup's; -1 where it has none
	class           *class
	unknown         bool      // nothing is known of its level
	residual        float64   // ln v less its prediction
	gradient        []float64 // of the prediction, by the curve's parameters
	lift            float64   // slope with the height of all strings, ln v per mm
	noise           float64   // variance of its own
}

// class is the cells that have part in the same shared effects and lie over the same
// pole: rows of one class of one pickup differ in the curve alone.
type class struct {
	string  int
	columns []int   // where its shared effects stand among the shared unknowns
	unseen  float64 // variance of those of its shared effects that no cell of the record has, beside the usual scale
	number  int     // among the classes of the record; -1 where it has no cell of it
}

// classKey is what a class's effects follow from: a test compares it with the effects.
type classKey struct {
	batch, set  string
	string      int
	core, gauge float64
}

func classKeyOf(c *cell.Cell) classKey { return classKey{c.Batch, c.Set, c.String, c.Core, c.Gauge} }

// classes numbers the classes of a record.
type classes struct {
	of      map[classKey]*class
	columns map[string]int // where a shared effect stands among the shared unknowns, by its key
	many    []bool         // of each effect: it has more than mostLevels
}

// mostLevels is how many levels of an effect are shared unknowns, which cost their cube. Of
// an effect that has more, its levels are as if each cell had its own, or each pickup where
// they are batches: strings differ little, and a batch is all that most of its pickups
// have. A test sets it.
var mostLevels = 150

// classesOf numbers the classes of cells, and their shared effects from a place on. It
// returns each cell's class and the usual scatter of each shared effect as well.
func classesOf(cells []*cell.Cell, from int) (k classes, each []*class, sds []float64) {
	k = classes{of: map[classKey]*class{}, columns: map[string]int{}, many: make([]bool, len(curve.Effects))}
	var firsts []*cell.Cell
	each = make([]*class, len(cells))
	var last classMemo
	for i, c := range cells {
		each[i] = last.of(c, func(key classKey) *class {
			of := k.of[key]
			if of == nil {
				of = &class{string: c.String, number: len(firsts)}
				k.of[key] = of
				firsts = append(firsts, c)
			}
			return of
		})
	}
	for x, e := range curve.Effects {
		if e.Local {
			continue
		}
		own := map[string]int{}
		for _, c := range firsts {
			key := e.Key(c)
			if _, known := own[key]; !known && !e.Level(c).None {
				own[key] = from + len(sds) + len(own)
			}
		}
		if k.many[x] = len(own) > mostLevels; !k.many[x] {
			maps.Copy(k.columns, own)
			sds = append(sds, slices.Repeat([]float64{e.Spread.SD}, len(own))...)
		}
	}
	for _, c := range firsts {
		of := k.of[classKeyOf(c)]
		of.columns, of.unseen = k.effectsOf(c)
	}
	if slices.Contains(k.many, true) {
		k.join(firsts, each)
	}
	return k, each, sds
}

// join makes one class of those that have part in the same shared unknowns, as effects of
// too many levels leave them.
func (k *classes) join(firsts []*cell.Cell, each []*class) {
	same := map[string]*class{}
	var different []*class
	one := make([]*class, len(firsts))
	for x, c := range firsts {
		of := k.of[classKeyOf(c)]
		key := fmt.Sprint(of.string, of.columns)
		if same[key] == nil {
			same[key] = of
			different = append(different, of)
		}
		one[x] = same[key]
	}
	for key, of := range k.of {
		k.of[key] = one[of.number]
	}
	for i, of := range each {
		each[i] = one[of.number]
	}
	for n, of := range different {
		of.number = n
	}
}

// effectsOf lists the columns of a cell's shared effects. Those of levels that no cell
// of the record has are noise to it, and so are those of an effect of too many, but for
// batches.
func (k *classes) effectsOf(c *cell.Cell) (columns []int, unseen float64) {
	for x, e := range curve.Effects {
		if e.Local || e.Level(c).None || k.many[x] && x == curve.BatchEffect {
			continue
		}
		if col, ok := k.columns[e.Key(c)]; ok {
			columns = append(columns, col)
		} else {
			unseen += solve.Square(e.Spread.SD)
		}
	}
	return columns, unseen
}

// classMemo is the classes of the cells that were asked for last, by string.
type classMemo [8]struct {
	key   classKey
	class *class
}

// of is the class of a cell; find finds one that is not among the last ones.
func (m *classMemo) of(c *cell.Cell, find func(classKey) *class) *class {
	key := classKeyOf(c)
	last := &m[uint(c.String)%uint(len(m))]
	if last.class == nil || last.key != key {
		last.key, last.class = key, find(key)
	}
	return last.class
}

// classOf is the class of any cell.
func (k *classes) classOf(c *cell.Cell) *class {
	if of, ok := k.of[classKeyOf(c)]; ok {
		return of
	}
	of := &class{string: c.String, number: -1}
	of.columns, of.unseen = k.effectsOf(c)
	return of
}

// pickup is the cells of one pickup.
type pickup struct {
	name    string
	number  int      // among the record's
	cells   []int    // by session
	ends    []int    // where each session ends among them
	poles   []int    // the strings that it has, in order
	classes []*class // in order of their first cells
}

// pole is the place of a string's pole; -1 where the pickup is not known to have it.
func (p *pickup) pole(string int) int { return slices.Index(p.poles, string) }

// last is its highest string.
func (p *pickup) last() int { return max(0, slices.Max(p.poles)) }

// addClass adds the class of one more cell.
func (p *pickup) addClass(c *class) {
	if slices.Contains(p.classes, c) {
		return
	}
	p.classes = append(p.classes, c)
	if p.pole(c.string) < 0 {
		p.poles = append(p.poles, c.string)
	}
}

// session lists the cells of one session, and says where they begin among all.
func (p *pickup) session(number int) (cells []int, from int) {
	if number > 0 {
		from = p.ends[number-1]
	}
	return p.cells[from:p.ends[number]], from
}

// session is one pickup's session.
type session struct {
	pickup int
	name   string
}

// pickups is the cells of a record by pickup.
type pickups struct {
	all      []*pickup
	number   map[string]int  // of a pickup
	sessions map[session]int // their numbers among their pickup's
	place    []int32         // of each cell among its pickup's
}

// pickupsOf lists the pickups of a record, of whose cells the classes are given.
func pickupsOf(cells []*cell.Cell, each []*class) *pickups {
	p := &pickups{number: map[string]int{}, sessions: map[session]int{}, place: make([]int32, len(cells))}
	p.file(cells, each, func(yield func(int) bool) {
		for i := range cells {
			if !yield(i) {
				return
			}
		}
	})
	return p
}

// sessionOf is the number of a session among its pickup's; -1 where it has none of that
// name.
func (p *pickups) sessionOf(pickup int, name string) int {
	if n, ok := p.sessions[session{pickup, name}]; ok {
		return n
	}
	return -1
}

// file adds cells, in order, to pickups that have none of them.
func (p *pickups) file(cells []*cell.Cell, each []*class, which iter.Seq[int]) {
	type filed struct{ pickup, session int32 }
	places := make([]filed, 0, len(p.place))
	var last *cell.Cell
	touched := map[int32]bool{}
	for i := range which {
		c, at := cells[i], filed{}
		if last != nil && last.Pickup == c.Pickup {
			at = places[len(places)-1]
		} else {
			at.pickup = int32(p.numberOf(c.Pickup))
			touched[at.pickup] = true
		}
		of := p.all[at.pickup]
		of.addClass(each[i])
		if last == nil || last.Pickup != c.Pickup || last.Session != c.Session {
			key := session{of.number, c.Session}
			n, ok := p.sessions[key]
			if !ok {
				n = len(of.ends)
				p.sessions[key] = n
				of.ends = append(of.ends, 0)
			}
			at.session = int32(n)
		}
		of.ends[at.session]++ // so many they are first
		places = append(places, at)
		last = c
	}
	for k := range touched { // then where they begin
		of, n := p.all[k], 0
		for s, count := range of.ends {
			of.ends[s], n = n, n+count
		}
		of.cells = make([]int, n)
	}
	k := 0
	for i := range which {
		of, at := p.all[places[k].pickup], &p.all[places[k].pickup].ends[places[k].session]
		of.cells[*at], p.place[i] = i, int32(*at)
		*at++
		k++
	}
}

// numberOf is the number of a pickup, a new one where it is not known.
func (p *pickups) numberOf(name string) int {
	n, ok := p.number[name]
	if !ok {
		n = len(p.all)
		p.number[name] = n
		p.all = append(p.all, &pickup{name: name, number: n})
	}
	return n
}

// opened is the rows of one pickup's cells, in their order, at a model's last estimates.
// They are worked out when they are asked for: those of all pickups would take more
// memory than the cells.
type opened struct {
	m         *levelModel
	at        *curve.At
	round     int // of the estimates that at is of
	p         *pickup
	rows      []row
	gradients []float64
	classes   classMemo
}

func newOpened(m *levelModel) *opened { return &opened{m: m, at: m.curve.At(m.theta), round: m.rounds} }

// open works out the rows of a pickup.
func (o *opened) open(p *pickup) {
	o.begin(p)
	for k := range p.ends {
		o.openSession(k)
	}
}

// begin makes room for the rows of a pickup.
func (o *opened) begin(p *pickup) {
	if o.p = p; cap(o.rows) < len(p.cells) {
		o.rows, o.gradients = make([]row, 2*len(p.cells)), make([]float64, 2*len(p.cells)*len(o.m.theta))
	}
	o.rows = o.rows[:len(p.cells)]
}

// openSession works out the rows of one of its sessions.
func (o *opened) openSession(number int) {
	m, params, last := o.m, len(o.m.theta), o.p.last()
	still := m.curve // strings' velocities are known by now
	still.Pitch = false
	cells, from := o.p.session(number)
	for x, i := range cells {
		r := &o.rows[from+x]
		*r = row{pickup: o.p.number, session: number, class: m.class[i], gradient: o.gradients[(from+x)*params : (from+x+1)*params]}
		s := still.CellSite(m.cells[i], last)
		s.Velocity = m.velocity[i]
		var mean float64
		mean, r.lift = o.at.Linear(r.gradient, s, 0)
		m.fill(r, m.cells[i], i, mean)
		r.unknown = r.unknown || m.impossible[i]
	}
}

// row is that of a cell of the pickup.
func (o *opened) row(i int) *row { return &o.rows[o.m.place[i]] }

// fill works out a row whose gradient is there already, and where the curve has its mean.
// From the end of the fit on the residual is beside given.mean.
func (m *levelModel) fill(r *row, c *cell.Cell, i int, mean float64) {
	r.residual = c.Mean - mean
	sigma := curve.ResidualPrior.SD * m.scale
	r.noise = sigma*sigma + m.takeVariance.Of(c)/float64(max(1, c.Takes)) + r.class.unseen*m.scale*m.scale
	r.unknown = c.Excite != m.curve.Excite || !solve.Finite(r.residual)
	if m.given != nil && !r.unknown {
		r.residual -= m.shared(r, m.given.mean)
	}
	if m.cutOff[i] {
		r.noise += unknownSD * unknownSD
	}
}

// where is a pickup and one of its sessions, where it has such a one, by their numbers.
type where struct {
	pickup, session int // -1 where it has none
	last            int // the highest string of the pickup as filed
}

// rowOf writes the row of any cell, in the place of the i-th cell.
func (o *opened) rowOf(c *cell.Cell, i int, at where, r *row) {
	m := o.m
	*r = row{pickup: at.pickup, session: at.session, class: o.classes.of(c, func(classKey) *class { return m.classes.classOf(c) }), gradient: grown(r.gradient, len(m.theta))}
	still := m.curve
	filed := m.cells[i]
	still.Pitch = m.curve.Pitch && (c.Core != filed.Core || c.Gauge != filed.Gauge || c.Wrap != filed.Wrap)
	s := still.CellSite(c, at.last)
	if !still.Pitch {
		s.Velocity = m.velocity[i]
	}
	var mean float64
	mean, r.lift = o.at.Linear(r.gradient, s, 0)
	m.fill(r, c, i, mean)
}

// shared is what shared unknowns add to a row's level.
func (m *levelModel) shared(r *row, of []float64) float64 {
	v := inner(r.gradient, of)
	for _, col := range r.class.columns {
		v += of[col]
	}
	return v
}

// pickupVariance is the usual variance of a pickup's level, beside the usual scale.
func (k *classes) pickupVariance() float64 {
	v := solve.Square(curve.Effects[curve.PickupEffect].Spread.SD)
	if k.many[curve.BatchEffect] {
		v += solve.Square(curve.Effects[curve.BatchEffect].Spread.SD)
	}
	return v
}

// The usual variances of what else is local to a pickup, likewise.
var (
	poleVariance = solve.Square(curve.Effects[curve.PoleEffect].Spread.SD)
	liftVariance = solve.Square(curve.Effects[curve.MountingEffect].Spread.SD)
)
