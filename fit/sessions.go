package fit

import (
	"iter"

	"evenpole/capture"
)

// Only passes on the rows that are wanted, those that take a reading back, and
// errors: what Gather needs to make cells of a part of a record.
func Only(rows iter.Seq2[capture.Reading, error], wanted func(*capture.Reading) bool) iter.Seq2[capture.Reading, error] {
	return func(yield func(capture.Reading, error) bool) {
		for r, err := range rows {
			if (err != nil || r.Status == capture.Retracted || wanted(&r)) && !yield(r, err) {
				return
			}
		}
	}
}

// Sessions cuts the cells, which stand by pickup and session, into those of each
// session of each pickup.
func (d *Data) Sessions() [][]Cell {
	var out [][]Cell
	from := 0
	for i := range d.Cells {
		last := i+1 == len(d.Cells)
		if last || d.Cells[i].Pickup != d.Cells[i+1].Pickup || d.Cells[i].Session != d.Cells[i+1].Session {
			out = append(out, d.Cells[from:i+1])
			from = i + 1
		}
	}
	return out
}
