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
func Read(rows iter.Seq2[record.FieldReading, error]) (*Record, error) {
	all, err := record.Sift(rows, nil)
	if err != nil {
		return nil, err
	}
	r := &Record{batches: map[string]*lot{}}
	for i := range all {
		f := &all[i].Row
		if reason := refuse(f, all[i].Why); reason != "" {
			r.leave(reason, f.Line)
			continue
		}
		r.add(f)
	}
	return r, nil
}

// refuse says why a row is no take of a loose magnet; "" when it is one.
func refuse(f *record.FieldReading, why record.Reason) string {
	switch {
	case why == record.Repeated || why == record.TakenBack || why == record.TakesBack:
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

func (r *Record) add(f *record.FieldReading) {
	l := r.batches[f.Batch]
	if l == nil {
		l = &lot{first: f.Time}
		r.batches[f.Batch] = l
		r.names = append(r.names, f.Batch)
	}
	l.last = f.Time
	p := l.magnet(f).placing(f)
	p.takes = append(p.takes, f.Field)
}

// magnet finds or adds the magnet of a row. One without a name is a magnet of
// its own for each session and position.
func (l *lot) magnet(f *record.FieldReading) *measured {
	name := f.Magnet
	if name == "" {
		name = fmt.Sprintf("position %d", f.Position)
		if f.Session != "" {
			name = f.Session + " " + name
		}
	}
	i := slices.IndexFunc(l.magnets, func(m *measured) bool { return m.name == name })
	if i < 0 {
		i = len(l.magnets)
		l.magnets = append(l.magnets, &measured{name: name, position: f.Position})
	}
	return l.magnets[i]
}

func (m *measured) placing(f *record.FieldReading) *placing {
	for _, p := range m.placings {
		if p.session == f.Session && p.position == f.Position && sameGap(p.gap, f.ProbeGap) {
			return p
		}
	}
	p := &placing{session: f.Session, position: f.Position, gap: f.ProbeGap}
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
