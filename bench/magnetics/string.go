package magnetics

import "math"

// String is a core and what is wound round it, taken as a ring of steel that is
// thinned by the gaps between its turns. A plain string's gauge is its core.
type String struct {
	Gauge, Core float64 // mm, diameters
	Steel       Steel   // of the core
	Wrap        Steel   // of the ring as a whole, along the string
}

// A string is cut into segments that are short over the pole and long far away. The
// field along it turns round over the pole, so that one side tells the other.
const (
	segments = 44
	reach    = 60.0 // mm to either side
)

// edges are the ends of the segments on one side, mm from the pole.
func edges() []float64 {
	return graded(segments, func(u float64) float64 { return reach * (0.25*u + 0.75*u*u*u) })
}

// body is a string's steel, with the field on its axis of each segment's polarisation.
type body struct {
	string     *String
	y, length  []float64 // mm, of segments on one side
	core, wrap []float64 // mu0 H at a row's segment by the polarisation of a column's
}

func newBody(s *String) *body {
	e := edges()
	b := &body{string: s}
	for k := range segments {
		b.y = append(b.y, (e[k]+e[k+1])/2)
		b.length = append(b.length, e[k+1]-e[k])
	}
	b.core = demagnetisation(e, b.y, 0, s.Core/2)
	if s.Gauge > s.Core {
		b.wrap = demagnetisation(e, b.y, s.Core/2, s.Gauge/2)
	}
	return b
}

// demagnetisation is the field on the axis of charged annuli at the ends of
// segments, whose mirror images on the other side are polarised the other way.
func demagnetisation(e, y []float64, inner, outer float64) []float64 {
	n := len(y)
	out := make([]float64, n*n)
	for i := range n {
		annulus := func(at float64) float64 { // of one charge per area
			d := y[i] - at
			if inner == 0 {
				return (math.Copysign(1, d) - d/math.Hypot(d, outer)) / 2
			}
			return d * (1/math.Hypot(d, inner) - 1/math.Hypot(d, outer)) / 2
		}
		last := annulus(e[0]) - annulus(-e[0])
		for k := range n { // positive at its far end, negative at its near end
			next := annulus(e[k+1]) + annulus(-e[k+1])
			if k == 0 {
				last = 2 * annulus(0)
			}
			out[i*n+k] = next - last
			last = next
		}
	}
	return out
}

// state is how a string's segments are magnetised: the field inside, and of core and
// wrap the polarisation and its slopes, for large and for small changes.
type state struct {
	inside     []float64
	core, wrap magnetised
}

type magnetised struct{ j, slope, small []float64 }

// by magnetises by a curve, in the field inside.
func (m *magnetised) by(s *Steel, inside []float64) {
	n := len(inside)
	*m = magnetised{make([]float64, n), make([]float64, n), make([]float64, n)}
	for i, b := range inside {
		m.j[i], m.slope[i], m.small[i] = s.curve(b)
	}
}

// magnetise finds the polarisation that agrees with the field it is in: that from
// outside along each segment, and its own. Newton's method, with steps halved
// until they help.
func (b *body) magnetise(outside []float64) *state {
	n := len(b.y)
	st := &state{inside: make([]float64, n)}
	for i, o := range outside {
		st.inside[i] = o / 10
	}
	miss, size := b.misses(st, outside)
	for range 60 {
		if size < 1e-8 {
			break
		}
		step := b.respond(st.core.slope, st.wrap.slope, miss)
		from := st.inside
		for scale := 1.0; ; scale /= 2 {
			st.inside = make([]float64, n)
			for i := range from {
				st.inside[i] = from[i] - scale*step[i]
			}
			m, s := b.misses(st, outside)
			if s < size || scale < 1e-3 {
				miss, size = m, s
				break
			}
		}
	}
	return st
}

// misses magnetises the string by the field inside, and returns by how much that field
// differs from what it then should be.
func (b *body) misses(st *state, outside []float64) (miss []float64, size float64) {
	st.core.by(&b.string.Steel, st.inside)
	st.wrap.by(&b.string.Wrap, st.inside)
	n := len(b.y)
	miss = make([]float64, n)
	for i := range n {
		sum := st.inside[i] - outside[i]
		for k, v := range b.core[i*n : (i+1)*n] {
			sum -= v * st.core.j[k]
		}
		if b.wrap != nil {
			for k, v := range b.wrap[i*n : (i+1)*n] {
				sum -= v * st.wrap.j[k]
			}
		}
		miss[i] = sum
		size += sum * sum
	}
	return miss, math.Sqrt(size)
}

// respond is the change of the field inside by a change of that outside, for given
// slopes of core and wrap.
func (b *body) respond(core, wrap, change []float64) []float64 {
	n := len(change)
	a := make([]float64, n*n)
	for i := range n {
		row := a[i*n : (i+1)*n]
		for k, v := range b.core[i*n : (i+1)*n] {
			row[k] = -v * core[k]
		}
		if b.wrap != nil {
			for k, v := range b.wrap[i*n : (i+1)*n] {
				row[k] -= v * wrap[k]
			}
		}
		row[i]++
	}
	x := append([]float64(nil), change...)
	eliminate(a, x)
	return x
}

// eliminate solves a x = x in place, without exchanging rows: the diagonal leads.
func eliminate(a, x []float64) {
	n := len(x)
	for i := range n {
		row := a[i*n : (i+1)*n]
		for k := i + 1; k < n; k++ {
			to := a[k*n : (k+1)*n]
			f := to[i] / row[i]
			for j := i + 1; j < n; j++ {
				to[j] -= f * row[j]
			}
			x[k] -= f * x[i]
		}
	}
	for i := n - 1; i >= 0; i-- {
		for j := i + 1; j < n; j++ {
			x[i] -= a[i*n+j] * x[j]
		}
		x[i] /= a[i*n+i]
	}
}
