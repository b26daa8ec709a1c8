package batch

import (
	"fmt"
	"iter"
	"math"
	"slices"
	"time"

	"evenpole/capture/record"
)

// Record is what the field readings of loose magnets say, batch by batch.
type Record struct {
	batches map[string]*lot
	names   []string  // of the batches, in the order of their first reading
	LeftOut []LeftOut // rows that are no magnet's take, by reason
}

// LeftOut counts the rows that were left out for one reason.
type LeftOut struct {
	Reason string `json:"reason"`
	Count  int    `json:"count"`
	Line   int    `json:"line"` // of the first such row
}

// The reasons to leave a row out, besides those of [record.Standing].
const (
	inPickup    = "in a pickup, beside other magnets"
	lacksBatch  = "no batch named"
	lacksMagnet = "neither magnet nor position named"
	lacksField  = "no field"
)

// lot is one batch's magnets in the order in which they were first measured.
type lot struct {
	magnets     []*measured
	named       map[string]*measured
	first, last time.Time
}

// measured is one magnet's takes, by placing.
type measured struct {
	name     string
	position int
	placings []*placing
}

// placing is one placing of a magnet under the probe: its takes in one session
// at one position and one gap.
type placing struct {
	session  string
	position int
	gap      float64 // mm; NaN when not known
	takes    []float64
}

// Read collects the takes of loose magnets from field readings. A take is good
// when its row counts: see [record.Standing]. Rows of magnets in a pickup are left
// out: their neighbours' fields are in them. The first error of rows ends the
// reading and is returned as it is.
//
// Of a row little is kept, and that only until all were read, as a later one may take it
// back.
func Read(rows iter.Seq2[record.FieldReading, error]) (*Record, error) {
	g := gatherer{reasons: map[string]int32{}, placings: map[placingOf]int32{}}
	for f, err := range rows {
		if err != nil {
			return nil, err
		}
		ref, why := g.standing.Meet(&f)
		g.add(&f, ref, refuse(&f, why))
	}
	return g.record(), nil
}

// gatherer reads rows.
type gatherer struct {
	standing record.Standing
	blocks   [][]row // in order, full but for the last
	reasons  map[string]int32
	said     []string // the reasons by their numbers
	placings map[placingOf]int32
	where    []placingOf // the placings by their numbers
}

// row is what is kept of a row of the file.
type row struct {
	ref    record.Ref
	line   int32
	reason int32 // why it is left out; -1 = it is a take
	of     int32 // the take's placing
	field  float64
	time   time.Time
}

// placingOf tells placings apart.
type placingOf struct {
	batch, magnet, session string
	position               int
	gap                    float64 // mm; unknownGap when not known
}

// unknownGap stands for a gap that is not known, as NaN is not even itself.
var unknownGap = math.Inf(-1)

// rowsInBlock is how many rows are kept in one piece of memory.
const rowsInBlock = 4096

func (g *gatherer) add(f *record.FieldReading, ref record.Ref, reason string) {
	r := row{ref: ref, line: int32(f.Line), reason: -1, field: f.Field, time: f.Time}
	if reason != "" {
		r.reason = numberOf(g.reasons, &g.said, reason)
	} else {
		r.of = numberOf(g.placings, &g.where, placeOf(f))
	}
	if n := len(g.blocks); n == 0 || len(g.blocks[n-1]) == rowsInBlock {
		g.blocks = append(g.blocks, make([]row, 0, rowsInBlock))
	}
	last := &g.blocks[len(g.blocks)-1]
	*last = append(*last, r)
}

// numberOf is the place of a value in a list that holds each once.
func numberOf[T comparable](at map[T]int32, list *[]T, x T) int32 {
	n, ok := at[x]
	if !ok {
		n = int32(len(*list))
		*list, at[x] = append(*list, x), n
	}
	return n
}

func placeOf(f *record.FieldReading) placingOf {
	p := placingOf{f.Batch, f.Magnet, f.Session, f.Position, f.ProbeGap}
	if math.IsNaN(p.gap) {
		p.gap = unknownGap
	}
	return p
}

// record is what the rows say, now that all were read.
func (g *gatherer) record() *Record {
	r := &Record{batches: map[string]*lot{}}
	placings := make([]*placing, len(g.where))
	for _, block := range g.blocks {
		for i := range block {
			row := &block[i]
			reason := ""
			if row.reason >= 0 {
				reason = g.said[row.reason]
			}
			if reason != string(record.Repeated) && reason != string(record.TakesBack) && g.standing.IsTakenBack(row.ref) {
				reason = string(record.TakenBack)
			}
			if reason != "" {
				r.leave(reason, int(row.line))
				continue
			}
			r.add(&g.where[row.of], &placings[row.of], row)
		}
	}
	return r
}

// refuse says why a row is no take of a loose magnet; "" when it is one.
func refuse(f *record.FieldReading, why record.Reason) string {
	switch {
	case why == record.Repeated || why == record.TakesBack:
		return string(why)
	case f.Pickup != "":
		return inPickup
	case why != record.Counts: // it is flagged
		return string(why)
	case f.Batch == "":
		return lacksBatch
	case f.Magnet == "" && f.Position == 0:
		return lacksMagnet
	case math.IsNaN(f.Field):
		return lacksField
	}
	return ""
}

func (r *Record) leave(reason string, line int) {
	i := slices.IndexFunc(r.LeftOut, func(l LeftOut) bool { return l.Reason == reason })
	if i < 0 {
		i = len(r.LeftOut)
		r.LeftOut = append(r.LeftOut, LeftOut{Reason: reason, Line: line})
	}
	r.LeftOut[i].Count++
}

// add adds a take. p is its placing, nil before its first take.
func (r *Record) add(of *placingOf, p **placing, take *row) {
	l := r.batches[of.batch]
	if l == nil {
		l = &lot{first: take.time, named: map[string]*measured{}}
		r.batches[of.batch] = l
		r.names = append(r.names, of.batch)
	}
	l.last = take.time
	if *p == nil {
		*p = l.magnet(of).placing(of)
	}
	(*p).takes = append((*p).takes, take.field)
}

// magnet finds or adds the magnet of a placing. One without a name is a magnet of
// its own for each session and position.
func (l *lot) magnet(of *placingOf) *measured {
	name := of.magnet
	if name == "" {
		name = fmt.Sprintf("position %d", of.position)
		if of.session != "" {
			name = of.session + " " + name
		}
	}
	m := l.named[name]
	if m == nil {
		m = &measured{name: name, position: of.position}
		l.named[name] = m
		l.magnets = append(l.magnets, m)
	}
	return m
}

// placing finds or adds a placing: an unnamed magnet may have the name of another.
func (m *measured) placing(of *placingOf) *placing {
	gap := of.gap
	if gap == unknownGap {
		gap = math.NaN()
	}
	for _, p := range m.placings {
		if p.session == of.session && p.position == of.position && sameGap(p.gap, gap) {
			return p
		}
	}
	p := &placing{session: of.session, position: of.position, gap: gap}
	m.placings = append(m.placings, p)
	return p
}

// sameGap compares gaps in mm; two that are not known are the same.
func sameGap(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

// Batches lists the batches of the record in the order of their first reading.
func (r *Record) Batches() []string { return slices.Clone(r.names) }

// Newest is the batch whose first reading is the last; "" when there is none.
func (r *Record) Newest() string {
	if len(r.names) == 0 {
		return ""
	}
	return r.names[len(r.names)-1]
}
