package capture

import "fmt"

// A slot is what takes are counted by: a string in one mode, or a position.
type slot struct {
	mode   Mode
	number int
}

func (s slot) String() string {
	switch s.mode {
	case Probe:
		return fmt.Sprintf("position %d", s.number)
	case Quiet:
		return fmt.Sprintf("quiet level of string %d", s.number)
	}
	return fmt.Sprintf("string %d", s.number)
}

// counted is what a take counts for.
type counted struct {
	slot
	good bool
	rms  float64 // mV; of a field reading nothing
}

// counted tells what a reading counts for.
func (r *Reading) counted() counted {
	c := counted{slot{r.Mode, r.String}, r.Status == OK || r.Status == "", r.RMS}
	if c.mode == "" {
		c.mode = Pluck
	}
	if c.mode != Quiet && r.RMS <= r.Quiet {
		c.good = false
	}
	return c
}

// counted tells what a field reading counts for.
func (r *FieldReading) counted() counted {
	return counted{slot{Probe, r.Position}, r.Status == OK || r.Status == "", 0}
}
