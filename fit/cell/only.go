package cell

import (
	"iter"

	"evenpole/capture/record"
)

// Only passes on the rows that are wanted, those that take a reading back, and
// errors: what Gather needs to make cells of a part of a record.
func Only(rows iter.Seq2[record.Reading, error], wanted func(*record.Reading) bool) iter.Seq2[record.Reading, error] {
	return func(yield func(record.Reading, error) bool) {
		for r, err := range rows {
			if (err != nil || r.Status == record.Retracted || wanted(&r)) && !yield(r, err) {
				return
			}
		}
	}
}
