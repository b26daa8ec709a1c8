package verdict

import (
	"iter"
	"math"
	"slices"

	"evenpole/capture/record"
	"evenpole/fit/cell"
	"evenpole/fit/field"
)

// probe is what the field probe says of a pickup's poles.
type probe struct {
	poles  int              // how many the pickup has
	cells  []cell.Cell      // with the deviation of each pole's field
	mean   map[int]*average // mT over pole of string n, signed
	spread float64          // of ln B from magnet to magnet
}

type average struct {
	sum float64
	n   int
}

// Scatter of fields within a batch, standard deviation of ln B: our assumption of
// an ordinary batch, of which what loose magnets show replaces as much as they
// are many.
const (
	usualSpread = 0.05
	spreadWorth = 10 // magnets
)

// probed gathers the latest session of field readings over a pickup's poles, by
// the time of its readings: of those that count, see [record.Standing]. The loose
// magnets of its batch tell how far magnets differ. The first error of rows is
// returned as it is.
//
// cells are those of the pickup's poles, without their fields; nil when only the fields
// themselves are wanted.
func probed(rows iter.Seq2[record.FieldReading, error], pickup, batch string, poles int, cells []cell.Cell) (*probe, error) {
	all, err := record.Sift(rows, func(r *record.FieldReading) bool {
		return r.Pickup == pickup && r.String > 0 || r.Pickup == "" && r.Batch == batch
	})
	if err != nil {
		return nil, err
	}
	var counted []record.FieldReading
	for i := range all {
		if all[i].Why == record.Counts {
			counted = append(counted, all[i].Row)
		}
	}
	latest := latestSession(counted)
	p := &probe{poles: poles, mean: map[int]*average{}}
	var wanted []record.FieldReading
	for _, r := range counted {
		switch {
		case r.Pickup == "":
			wanted = append(wanted, r)
		case r.Session == latest:
			r.Magnet = "" // the reading over the pole counts, not that of the loose magnet
			wanted = append(wanted, r)
			p.add(r.String, r.Field)
		}
	}
	d := &cell.Data{Cells: slices.Clone(cells)} // what is expected of the cells is without their fields
	err = d.AddFields(func(yield func(record.FieldReading, error) bool) {
		for _, r := range wanted {
			if !yield(r, nil) {
				return
			}
		}
	}, nil)
	p.cells = d.Cells
	p.spread = spreadOf(d.Magnets)
	return p, err
}

// latestSession is the session of the last reading of a pickup's poles by time, and of
// several at one time by row; "" without any.
func latestSession(rows []record.FieldReading) string {
	var last *record.FieldReading
	for i := range rows {
		if r := &rows[i]; r.Pickup != "" && (last == nil || !r.Time.Before(last.Time)) {
			last = r
		}
	}
	if last == nil {
		return ""
	}
	return last.Session
}

func (p *probe) add(str int, mT float64) {
	if !known(mT) {
		return
	}
	if p.mean[str] == nil {
		p.mean[str] = &average{}
	}
	p.mean[str].sum += mT
	p.mean[str].n++
}

// spreadOf is the scatter of loose magnets by their median distance, so that a
// few odd ones do not count.
func spreadOf(loose map[string]float64) float64 {
	var far []float64
	for _, dev := range loose {
		far = append(far, math.Abs(dev))
	}
	n := float64(len(far))
	if n == 0 {
		return usualSpread
	}
	slices.Sort(far)
	sd := middle(far) / 0.6745 // the upper quartile of the normal distribution
	return math.Sqrt((spreadWorth*usualSpread*usualSpread + n*sd*sd) / (spreadWorth + n))
}

// deviation is ln B of pole i against its like; false when it was not measured.
func (p *probe) deviation(i int) (float64, bool) {
	if i >= len(p.cells) {
		return 0, false
	}
	return p.cells[i].Field, p.cells[i].FieldKnown
}

// field is the mean reading over pole i in mT, signed; NaN without any.
func (p *probe) field(i int) float64 {
	a := p.mean[i+1]
	if a == nil {
		return math.NaN()
	}
	return a.sum / float64(a.n)
}

// beside is the field over pole i, in mT whichever side is up, and the mean of those
// over the other poles that were measured; NaN where none was.
func (p *probe) beside(i int) (own, others float64) {
	n := 0
	for k := range p.poles {
		if f := math.Abs(p.field(k)); k != i && known(f) {
			others += f
			n++
		}
	}
	return math.Abs(p.field(i)), others / float64(n)
}

// complete reports whether every pole was measured.
func (p *probe) complete() bool {
	for i := range p.poles {
		if p.mean[i+1] == nil {
			return false
		}
	}
	return p.poles > 0
}

// sides lists the strings whose poles have the other side up than most, and those whose
// poles have hardly any field: see [field.Sides]. If equal numbers point each way, as in
// pickups that are made so, none is reversed.
func (p *probe) sides() (reversed, faint []int) {
	fields := make([]float64, p.poles)
	for i := range fields {
		fields[i] = p.field(i)
	}
	reversed, faint, _ = field.Sides(fields)
	for _, list := range [][]int{reversed, faint} {
		for k := range list {
			list[k]++
		}
	}
	return reversed, faint
}
