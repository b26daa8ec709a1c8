package record

import (
	"strconv"
	"strings"
	"time"

	"evenpole/capture/record/table"
)

// about is what a row of the record is about, whichever file it stands in.
type about struct {
	id            ID
	named         bool // it has an ID
	status        Status
	session       string
	take          Take
	time          time.Time
	pickup, batch string
	purpose       Purpose // a field reading has its session's
	note          string
}

// ID names the row's reading.
func (a *about) ID() (ID, bool) { return a.id, a.named }

func (a *about) state() Status { return a.status }

func aboutReading(r *Reading) about {
	id, named := r.ID()
	return about{id, named, r.Status, r.Session, r.AsTake(), r.Time, r.Pickup, r.Batch, r.Purpose, r.Note}
}

func aboutField(r *FieldReading) about {
	id, named := r.ID()
	return about{id, named, r.Status, r.Session, r.AsTake(), r.Time, r.Pickup, r.Batch, "", r.Note}
}

// aboutRow is what the text of a row says of its reading: the name and the status.
func aboutRow(l *table.Layout, row table.Row) about {
	cell := func(name string) string { return *l.Cell(row, name) }
	seq, err := strconv.ParseUint(strings.TrimSpace(cell("seq")), 10, 32) // what is no number names nothing
	a := about{id: ID{cell("jig"), cell("boot"), uint32(seq)}, status: Status(strings.TrimSpace(cell("status")))}
	a.named = err == nil && a.id.Boot != ""
	return a
}
