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

func aboutReading(r *Reading) about {
	id, named := r.ID()
	return about{id, named, r.Status, r.Session, r.AsTake(), r.Time, r.Pickup, r.Batch, r.Purpose}
}

func aboutField(r *FieldReading) about {
	id, named := r.ID()
	return about{id, named, r.Status, r.Session, r.AsTake(), r.Time, r.Pickup, r.Batch, ""}
}
