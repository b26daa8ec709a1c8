package record

import "fmt"

// A Slot is what takes are counted by: a string in one mode, or a position of the
// probe.
type Slot struct {
	Mode   Mode
	Number int
}

func (s Slot) String() string {
	switch s.Mode {
	case Probe:
		return fmt.Sprintf("position %d", s.Number)
	case Quiet:
		return fmt.Sprintf("quiet level of string %d", s.Number)
	}
	return fmt.Sprintf("string %d", s.Number)
}

// Take says of which slot a reading is a take, and whether it is good: it has no flag,
// was not retracted and is above the quiet level.
type Take struct {
	Slot
	Good bool
	RMS  float64 // mV; 0 for a field reading
}

// Counts returns what a reading counts for.
func (r *Reading) Counts() Take {
	c := Take{Slot{r.Mode, r.String}, r.Status == OK || r.Status == "", r.RMS}
	if c.Mode == "" {
		c.Mode = Pluck
	}
	if c.Mode != Quiet && r.RMS <= r.Quiet {
		c.Good = false
	}
	return c
}

// Counts returns what a field reading counts for.
func (r *FieldReading) Counts() Take {
	return Take{Slot{Probe, r.Position}, r.Status == OK || r.Status == "", 0}
}
