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
