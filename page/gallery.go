package page

import (
	"sync"

	"evenpole/report"
)

// gallery keeps the pictures that were made last, for as long as the record and the
// model are the same.
type gallery struct {
	mu     sync.Mutex
	of     string
	plots  []*report.Plot
	fitted bool
	notes  []string
}
