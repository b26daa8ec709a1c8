package record

import "fmt"

// Takes of one TakeGroup are counted together: those of one string in one mode, or of
// one position of the probe.
type TakeGroup struct {
	Mode   Mode
	Number int
}

func (s TakeGroup) String() string {
	switch s.Mode {
	case Probe:
		return fmt.Sprintf("position %d", s.Number)
	case Quiet:
		return fmt.Sprintf("quiet level of string %d", s.Number)
	}
	return fmt.Sprintf("string %d", s.Number)
}

// Take says of which group a reading is a take, and whether it is good: it has no flag,
// was not retracted and is above the quiet level.
type Take struct {
	TakeGroup
	Good  bool
	RMS   float64 // mV; 0 for a field reading
	Field float64 // mT, signed; 0 for any other
}

// AsTake is the reading as a take.
func (r *Reading) AsTake() Take {
	c := Take{TakeGroup: TakeGroup{r.Mode, r.String}, Good: r.Status == OK || r.Status == "", RMS: r.RMS}
	if c.Mode == "" {
		c.Mode = Pluck
	}
	if c.Mode != Quiet && r.RMS <= r.Quiet {
		c.Good = false
	}
	return c
}

// AsTake is the field reading as a take.
func (r *FieldReading) AsTake() Take {
	return Take{TakeGroup: TakeGroup{Probe, r.Position}, Good: r.Status == OK || r.Status == "", Field: r.Field}
}
