package screen

import (
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"
)

// row is a cell with the model made linear about the last estimates.
type row struct {
	pickup, session int // their numbers in the model
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
}

// classesOf numbers the classes of cells, and their shared effects from a place on. It
// returns each cell's class and the usual scatter of each shared effect as well.
func classesOf(cells []*cell.Cell, from int) (k classes, each []*class, sds []float64) {
	k = classes{map[classKey]*class{}, map[string]int{}}
	var firsts []*cell.Cell
	each = make([]*class, len(cells))
	for i, c := range cells {
		key := classKeyOf(c)
		if k.of[key] == nil {
			k.of[key] = &class{string: c.String, number: len(firsts)}
			firsts = append(firsts, c)
		}
		each[i] = k.of[key]
	}
	for _, e := range curve.Effects {
		for _, c := range firsts {
			key := e.Key(c)
			if _, ok := k.columns[key]; ok || e.Local || e.Level(c).None {
				continue
			}
			k.columns[key] = from + len(sds)
			sds = append(sds, e.Spread.SD)
		}
	}
	for _, c := range firsts {
		of := k.of[classKeyOf(c)]
		of.columns, of.unseen = k.effectsOf(c)
	}
	return k, each, sds
}

// effectsOf lists the columns of a cell's shared effects. Those of levels that no cell
// of the record has are noise to it.
func (k *classes) effectsOf(c *cell.Cell) (columns []int, unseen float64) {
	for _, e := range curve.Effects {
		if e.Local || e.Level(c).None {
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
	name     string
	cells    []int    // by session
	ends     []int    // where each session ends among them
	sessions []int    // their numbers
	poles    []int    // the strings that it has, in order
	classes  []*class // in order of their first cells
}

// pole is the place of a string's pole; -1 where the pickup is not known to have it.
func (p *pickup) pole(string int) int { return slices.Index(p.poles, string) }

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

// session is one pickup's session.
type session struct {
	pickup int
	name   string
}

// pickupsOf lists the pickups of a record, and tells the number of each cell's pickup
// and session.
func pickupsOf(cells []*cell.Cell, each []*class) (out []*pickup, pickups, sessions []int, numbers map[session]int) {
	at := map[string]int{}
	numbers = map[session]int{}
	pickups, sessions = make([]int, len(cells)), make([]int, len(cells))
	var of []*[]int
	for i, c := range cells {
		switch {
		case i > 0 && c.Pickup == cells[i-1].Pickup:
			pickups[i] = pickups[i-1]
		default:
			p, ok := at[c.Pickup]
			if !ok {
				p = len(out)
				at[c.Pickup] = p
				out = append(out, &pickup{name: c.Pickup})
			}
			pickups[i] = p
		}
		p := out[pickups[i]]
		p.addClass(each[i])
		s, ok := 0, i > 0 && pickups[i] == pickups[i-1] && c.Session == cells[i-1].Session
		if ok {
			s = sessions[i-1]
		} else if s, ok = numbers[session{pickups[i], c.Session}]; !ok {
			s = len(of)
			numbers[session{pickups[i], c.Session}] = s
			of = append(of, &[]int{})
			p.sessions = append(p.sessions, s)
		}
		sessions[i] = s
		*of[s] = append(*of[s], i)
	}
	for _, p := range out {
		for _, s := range p.sessions {
			p.cells = append(p.cells, *of[s]...)
			p.ends = append(p.ends, len(p.cells))
		}
	}
	return out, pickups, sessions, numbers
}

// fill works out a row whose gradient is there already, and where the curve has its mean.
func (m *levelModel) fill(r *row, c *cell.Cell, mean float64) {
	r.residual = c.Mean - mean
	sigma := curve.ResidualPrior.SD * m.scale
	r.noise = sigma*sigma + m.takeVariance.Of(c)/float64(max(1, c.Takes)) + r.class.unseen*m.scale*m.scale
	r.unknown = c.Excite != m.curve.Excite || !solve.Finite(r.residual)
}

// rowOf writes the row of any cell at the last estimates, in the place of the i-th cell.
func (m *levelModel) rowOf(c *cell.Cell, i int, r *row) {
	*r = row{pickup: m.number[c.Pickup], class: m.classes.classOf(c), gradient: grown(r.gradient, len(m.theta))}
	session, ok := m.sessions[session{r.pickup, c.Session}]
	if r.session = session; !ok {
		r.session = -1
	}
	var mean float64
	mean, r.lift = m.curve.Linear(r.gradient, m.theta, m.curve.CellSite(c, m.last[i]))
	m.fill(r, c, mean)
	r.residual -= m.shared(r, m.given.mean)
	r.noise += m.extraVariance[i]
}

// shared is what shared unknowns add to a row's level.
func (m *levelModel) shared(r *row, of []float64) float64 {
	v := inner(r.gradient, of)
	for _, col := range r.class.columns {
		v += of[col]
	}
	return v
}

// The usual variances of what is local to a pickup, beside the usual scale.
var (
	pickupVariance = solve.Square(curve.Effects[curve.PickupEffect].Spread.SD)
	poleVariance   = solve.Square(curve.Effects[curve.PoleEffect].Spread.SD)
	liftVariance   = solve.Square(curve.Effects[curve.MountingEffect].Spread.SD)
)
