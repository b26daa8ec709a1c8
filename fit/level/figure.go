package level

import (
	"encoding/json"
	"math"
)

// Figure is a number that may not be known: NaN and infinities are not, and are null
// in JSON.
type Figure float64

// Known reports whether the figure is a finite number.
func (f Figure) Known() bool { return !math.IsNaN(float64(f)) && !math.IsInf(float64(f), 0) }

// MarshalJSON writes the number, or null.
func (f Figure) MarshalJSON() ([]byte, error) {
	if !f.Known() {
		return []byte("null"), nil
	}
	return json.Marshal(float64(f))
}

// UnmarshalJSON reads the number; null is NaN.
func (f *Figure) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		*f = Figure(math.NaN())
		return nil
	}
	return json.Unmarshal(text, (*float64)(f))
}
