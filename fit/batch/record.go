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

// The reasons to leave a row out. A flagged take has its status for a reason.
const (
	inPickup     = "in a pickup, beside other magnets"
	isRepeated   = "stands twice"
	isTakenBack  = "taken back"
	isRetraction = "takes another back"
	lacksBatch   = "no batch named"
	lacksMagnet  = "neither magnet nor position named"
	lacksField   = "no field"
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

// identity names a reading; the same one twice counts once.
type identity struct {
	jig, boot string
	seq       uint32
}

// Read collects the takes of loose magnets from field readings. A take is good
// when its status is ok; a reading that stands twice counts once, and one that
// another row takes back does not count, wherever that row stands. Rows of
// magnets in a pickup are left out: their neighbours' fields are in them. The
// first error of rows ends the reading and is returned as it is.
func Read(rows iter.Seq2[record.FieldReading, error]) (*Record, error) {
	var kept []record.FieldReading
	back := map[identity]bool{}
	for f, err := range rows {
		if err != nil {
			return nil, err
		}
		if id, ok := identityOf(&f); ok && f.Status == record.Retracted {
			back[id] = true
		}
		kept = append(kept, f)
	}
	r := &Record{batches: map[string]*lot{}}
	seen := map[identity]bool{}
	for i := range kept {
		f := &kept[i]
		if reason := refuse(f, seen, back); reason != "" {
			r.leave(reason, f.Line)
			continue
		}
		r.add(f)
	}
	return r, nil
}

func identityOf(f *record.FieldReading) (identity, bool) {
	return identity{f.Jig, f.Boot, f.Seq}, f.HasSeq && f.Boot != ""
}

// refuse says why a row is no take of a loose magnet; "" when it is one.
func refuse(f *record.FieldReading, seen, back map[identity]bool) string {
	id, named := identityOf(f)
	twice := named && seen[id]
	switch {
	case f.Status == record.Retracted:
		return isRetraction
	case twice:
		return isRepeated
	}
	seen[id] = true
	switch {
	case named && back[id]:
		return isTakenBack
	case f.Pickup != "":
		return inPickup
	case f.Status != "" && f.Status != record.OK:
		return string(f.Status)
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
