package record

import "time"

// about is what a row of the record is about, whichever file it stands in.
type about struct {
	entry
	time          time.Time
	pickup, batch string
	purpose       Purpose // a field reading has its session's
}

// aboutReading and aboutField read a row as text.
func aboutReading(w *readingRow, c *cells) about {
	r := w.parse(c)
	return about{r.entry(), r.Time, r.Pickup, r.Batch, r.Purpose}
}

func aboutField(w *fieldRow, c *cells) about {
	r := w.parse(c)
	return about{r.entry(), r.Time, r.Pickup, r.Batch, ""}
}
