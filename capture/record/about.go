package record

import "time"

// about is what a row of the record is about, whichever file it stands in.
type about struct {
	entry
	time          time.Time
	pickup, batch string
	purpose       Purpose // a field reading has its session's
}

func aboutReading(r *Reading) about {
	return about{r.entry(), r.Time, r.Pickup, r.Batch, r.Purpose}
}

func aboutField(r *FieldReading) about {
	return about{r.entry(), r.Time, r.Pickup, r.Batch, ""}
}
