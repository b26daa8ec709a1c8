package capture

import (
	"time"

	"evenpole/jig"
)

// clockOf is the clock that rows are dated by: that of this machine, or for a simulated
// jig that has days of its own, this time of its day.
func clockOf(id jig.Ident) func() time.Time {
	day, ok := id.SimulatedDay()
	if !ok {
		return time.Now
	}
	return func() time.Time {
		now := time.Now().UTC()
		return day.Add(now.Sub(now.Truncate(24 * time.Hour)))
	}
}
