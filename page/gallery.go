package page

import "evenpole/report"

// gallery are the pictures of a model over the record.
type gallery struct {
	plots  []*report.Plot
	fitted bool
	notes  []string
}
