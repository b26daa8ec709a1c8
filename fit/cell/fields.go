package cell

import (
	"cmp"
	"iter"
	"maps"
	"math"
	"slices"

	"evenpole/capture/record"
	"evenpole/fit/field"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// AddFields adds what a fields file knows of the magnets: of each pole of a
// pickup and of each single magnet, the logarithm of its flux density against
// the mean of its batch. A pole counts as measured where it was probed in its
// pickup, or where its magnet was probed loose and mounts or field readings say
// where it stands. mounts names the magnets of pickups, string 1 first; it may be
// nil.
//
// Batches of which loose magnets were probed are compared by their means, too.
//
// Neighbours in a pickup take from a pole's field or add to it, the more so the
// taller they are: what the exact field of rods of one strength would be there
// is taken off first. Only readings at the same probe gap are compared. A field
// whose sign differs from its batch's is no stronger or weaker for it.
//
// Field readings with a name of neither a magnet nor a pickup's string are passed
// over, as are those that do not count: see [record.Standing]. The first error of the
// file is returned as it is.
func (d *Data) AddFields(rows iter.Seq2[record.FieldReading, error], mounts map[string][]string) error {
	g := fieldGatherer{means: map[probed]*logMean{}, where: map[place]string{}}
	if err := g.gather(rows); err != nil {
		return err
	}
	for pickup, magnets := range mounts {
		for i, m := range magnets {
			g.where[place{pickup, i + 1}] = m
		}
	}
	d.Batches = g.batches()
	devs := g.deviations(d)
	d.Magnets = map[string]float64{}
	poles := map[place]float64{}
	var ss float64
	for _, v := range devs {
		if v.magnet != "" && (v.at == place{}) {
			d.Magnets[v.magnet] = v.dev
		}
		if (v.at != place{}) {
			poles[v.at] = v.dev
		}
		ss += v.dev * v.dev
	}
	for at, m := range g.where {
		loose, isLoose := d.Magnets[m]
		inPlace, isInPlace := poles[at]
		switch {
		case isLoose: // nothing of its neighbours is in it
			poles[at] = loose
		case isInPlace && m != "":
			d.Magnets[m] = inPlace
		}
	}
	if len(devs) > 1 {
		d.FieldSD = math.Sqrt(ss / float64(len(devs)-1))
	}
	for _, cells := range [][]Cell{d.Cells, d.Impossible} { // screening may put the latter right
		for i := range cells {
			c := &cells[i]
			c.Field, c.FieldKnown = poles[place{c.Pickup, c.String}]
		}
	}
	return nil
}

// usualRod is a rod of common size (common practice): 3/16 in by 0.65 in. Its
// strength does not matter.
var usualRod = field.Rod{Radius: 3.0 / 32 * 25.4, Length: 0.65 * 25.4, Remanence: 1}

// place is a string's pole in a pickup; the zero value is none.
type place struct {
	Pickup string
	String int
}

// probed is what was probed, and how: readings alike in all this are takes.
type probed struct {
	batch, magnet string
	at            place
	gap           float64 // mm
}

// logMean is the mean of ln B over takes.
type logMean struct {
	sum float64
	n   int
}

type fieldGatherer struct {
	means map[probed]*logMean
	where map[place]string // which magnet is there
}

// fieldTake is a take of what was probed. Takes are kept until all rows were read, as a
// later row may take one back: small, as there may be millions.
type fieldTake struct {
	ref    record.Ref
	of     int32 // what was probed
	magnet int32 // the magnet that the row names
	lnB    float64
}

// gather adds the takes that count.
func (g *fieldGatherer) gather(rows iter.Seq2[record.FieldReading, error]) error {
	var standing record.Standing
	var takes []fieldTake
	var all ids[probed]
	var magnets ids[string]
	for r, err := range rows {
		if err != nil {
			return err
		}
		ref, why := standing.Meet(&r)
		if k, ok := probedBy(&r); ok && why == record.Counts {
			takes = append(takes, fieldTake{ref, all.of(k), magnets.of(r.Magnet), math.Log(math.Abs(r.Field))})
		}
	}
	for i := range takes {
		if t := &takes[i]; !standing.IsTakenBack(t.ref) {
			g.add(all.list[t.of], magnets.list[t.magnet], t.lnB)
		}
	}
	return nil
}

// probedBy is what a row's take is of; false for a row that tells nothing.
func probedBy(r *record.FieldReading) (probed, bool) {
	at := place{r.Pickup, r.String}
	if r.Pickup == "" || r.String < 1 {
		at = place{}
	}
	if r.Field == 0 || !solve.Finite(r.Field) || r.Magnet == "" && (at == place{}) {
		return probed{}, false
	}
	k := probed{r.Batch, r.Magnet, at, r.ProbeGap}
	if math.IsNaN(k.gap) {
		k.gap = 0
	}
	if (at != place{}) {
		k.magnet = ""
	}
	return k, true
}

// add adds a take of what was probed; magnet is what the row names, if it names one.
func (g *fieldGatherer) add(k probed, magnet string, lnB float64) {
	if (k.at != place{}) && magnet != "" {
		g.where[k.at] = magnet
	}
	m := g.means[k]
	if m == nil {
		m = &logMean{}
		g.means[k] = m
	}
	m.sum += lnB
	m.n++
}

// deviation is ln B of a magnet or a pole against others of its batch.
type deviation struct {
	probed
	dev float64
}

// deviations compares what was probed alike: of one batch, loose or in a
// pickup, at one probe gap. What stands alone tells nothing.
func (g *fieldGatherer) deviations(d *Data) []deviation {
	type class struct {
		batch string
		loose bool
		gap   float64
	}
	classes := map[class][]deviation{}
	heights := d.poleHeights()
	for k, m := range g.means {
		v := m.sum / float64(m.n)
		if (k.at != place{}) {
			v -= neighbours(heights[k.at.Pickup], k.at, k.gap)
		}
		c := class{k.batch, k.at == place{}, k.gap}
		classes[c] = append(classes[c], deviation{k, v})
	}
	var out []deviation
	for _, list := range classes {
		if len(list) < 2 {
			continue
		}
		slices.SortFunc(list, func(a, b deviation) int { // so that sums come out the same every time
			return cmp.Or(cmp.Compare(a.magnet, b.magnet), cmp.Compare(a.at.Pickup, b.at.Pickup), cmp.Compare(a.at.String, b.at.String))
		})
		var values []float64
		for _, v := range list {
			values = append(values, v.dev)
		}
		centre, _ := solve.RobustMean(values)
		for _, v := range list {
			v.dev -= centre
			out = append(out, v)
		}
	}
	slices.SortFunc(out, func(a, b deviation) int {
		return cmp.Or(cmp.Compare(a.batch, b.batch), cmp.Compare(a.magnet, b.magnet), cmp.Compare(a.at.Pickup, b.at.Pickup),
			cmp.Compare(a.at.String, b.at.String), cmp.Compare(a.gap, b.gap))
	})
	return out
}

// batches is the mean of ln B of each batch's loose magnets at one probe gap: that
// at which most batches were probed, of equals the least.
func (g *fieldGatherer) batches() map[string]float64 {
	values := map[float64]map[string][]float64{}
	for k, m := range g.means {
		if k.batch == "" || (k.at != place{}) {
			continue
		}
		if values[k.gap] == nil {
			values[k.gap] = map[string][]float64{}
		}
		values[k.gap][k.batch] = append(values[k.gap][k.batch], m.sum/float64(m.n))
	}
	var best map[string][]float64
	for _, gap := range slices.Sorted(maps.Keys(values)) {
		if len(values[gap]) > len(best) {
			best = values[gap]
		}
	}
	out := map[string]float64{}
	for batch, v := range best {
		out[batch], _ = solve.RobustMean(v) // sorts: sums come out the same every time
	}
	return out
}

// poleHeights is what the cells tell of the heights of poles, by pickup and string: the
// last cell of each has its say.
func (d *Data) poleHeights() map[string]map[int]float64 {
	out := map[string]map[int]float64{}
	for i := range d.Cells {
		c := &d.Cells[i]
		if out[c.Pickup] == nil {
			out[c.Pickup] = map[int]float64{}
		}
		out[c.Pickup][c.String] = c.PoleHeight
	}
	return out
}

// neighbours is by how much the other poles of a pickup change ln B over one of
// them, at a probe gap in mm: rods of one strength at the heights of the pickup's
// poles, at the usual spacing.
func neighbours(heights map[int]float64, at place, gap float64) float64 {
	own, ok := heights[at.String]
	if !ok {
		return 0
	}
	var row field.Row
	for n, h := range heights {
		row = append(row, field.Pole{Rod: usualRod, X: profiles.UsualSpacing * float64(n-at.String), Top: h})
	}
	slices.SortFunc(row, func(a, b field.Pole) int { return cmp.Compare(a.X, b.X) })
	_, _, all := row.At(0, 0, own+max(gap, 0.1))
	alone := usualRod.OnAxis(max(gap, 0.1))
	if !(all > 0) {
		return 0
	}
	return math.Log(all / alone)
}
