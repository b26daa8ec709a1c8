package verdict

import (
	"fmt"
	"math"

	"evenpole/fit/level"
	"evenpole/profiles"
)

// copperPerK is by how much the resistance of copper grows with temperature, as a
// share of that at 20 °C for each degree: annealed copper, IEC 60028 (International
// standard of resistance for copper, 1925), from memory. A coil of another wire
// is corrected wrongly.
const copperPerK = 0.00393

// Measured is a coil's resistance to direct current as a meter read it.
type Measured struct {
	Ohm     float64
	Celsius float64 // of the coil
}

// Valid is an error when no coil on a bench can be like that.
func (m Measured) Valid() error {
	if m.Ohm >= 0 && !math.IsInf(m.Ohm, 0) && m.Celsius >= -20 && m.Celsius <= 60 {
		return nil
	}
	return fmt.Errorf("resistance: expected 0 ohm or more at -20 to 60 °C, got %g ohm at %g °C", m.Ohm, m.Celsius)
}

// What coils have, in ohm, and how far from the one ordered a coil may be and be it: our
// choices, to tell a slip of the unit and a short from a coil.
const (
	leastCoil   = 1
	mostInKilo  = 100 // a coil has at most so many kilohm
	sameCoil    = 3   // factor from the resistance ordered
	shortedCoil = 50  // times less than ordered is a short
)

// validFor is an error when no coil on a bench can be like that, or when a figure looks
// like kilohm beside what was ordered (0 for nothing).
func (m Measured) validFor(ordered float64) error {
	if err := m.Valid(); err != nil {
		return err
	}
	near := func(ohm float64) bool { return ohm > ordered/sameCoil && ohm < ordered*sameCoil }
	kilo := m.Ohm >= leastCoil && m.Ohm <= mostInKilo
	if ordered > 0 {
		kilo = near(1000*m.Ohm) && !near(m.Ohm)
	}
	if kilo {
		return fmt.Errorf("resistance: %g ohm looks like kilohm: in ohm that is %g; for a coil of so few ohm order resistance_ohm", m.Ohm, 1000*m.Ohm)
	}
	return nil
}

// shorted reports whether a coil has next to no resistance beside what was ordered (0 for
// nothing), ohm.
func (m Measured) shorted(ordered float64) bool {
	if ordered > 0 {
		return m.At20() < ordered/shortedCoil
	}
	return m.Ohm < leastCoil
}

// At20 is what the coil would read at 20 °C, ohm.
func (m Measured) At20() float64 { return m.Ohm / (1 + copperPerK*(m.Celsius-20)) }

// Resistance is a coil's resistance beside what was ordered. It is not part of the
// verdict, which is on the balance.
type Resistance struct {
	Ohm       float64      `json:"measured_ohm"`
	Celsius   float64      `json:"temperature_c"`
	At20      float64      `json:"at_20_c_ohm"`
	Target    level.Figure `json:"target_ohm"` // at 20 °C; unknown when none was ordered
	Off       level.Figure `json:"off_percent"`
	Tolerance level.Figure `json:"tolerance_percent"`
}

// Within reports whether the coil is within tolerance of what was ordered; true
// when nothing was. The meter's own error is not in it.
func (r *Resistance) Within() bool { return !(math.Abs(float64(r.Off)) > float64(r.Tolerance)) }

// String is the resistance in words.
func (r *Resistance) String() string {
	text := fmt.Sprintf("resistance %s ohm at %.1f °C, %s ohm at 20 °C", ohms(r.Ohm), r.Celsius, ohms(r.At20))
	if !r.Target.Known() {
		return text
	}
	text += profiles.Sprintf(": %+.1f %% off the %.0f ohm ordered", float64(r.Off), float64(r.Target))
	switch {
	case !r.Tolerance.Known():
		return text
	case r.Within():
		return text + fmt.Sprintf(", within +- %g %%", float64(r.Tolerance))
	}
	return text + fmt.Sprintf(", not within +- %g %%", float64(r.Tolerance))
}

// ohms writes a resistance in ohm; one of less than 10 with a decimal.
func ohms(r float64) string {
	if r < 10 {
		return fmt.Sprintf("%.1f", r)
	}
	return fmt.Sprintf("%.0f", r)
}
