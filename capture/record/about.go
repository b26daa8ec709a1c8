package record

import "time"

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
}

// ID names the row's reading.
func (a *about) ID() (ID, bool) { return a.id, a.named }

func (a *about) state() Status { return a.status }

func (r *Reading) about() about {
	id, named := r.ID()
	return about{id, named, r.Status, r.Session, r.Counts(), r.Time, r.Pickup, r.Batch, r.Purpose}
}

func (r *FieldReading) about() about {
	id, named := r.ID()
	return about{id, named, r.Status, r.Session, r.Counts(), r.Time, r.Pickup, r.Batch, ""}
}

// aboutReading and aboutField read a row as text.
func aboutReading(w *readingRow, c *cells) about {
	r := w.parse(c)
	return r.about()
}

func aboutField(w *fieldRow, c *cells) about {
	r := w.parse(c)
	return r.about()
}
