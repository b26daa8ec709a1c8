package verdict

import (
	"fmt"
	"math"

	"evenpole/fit/level"
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
	if m.Ohm > 0 && !math.IsInf(m.Ohm, 0) && m.Celsius >= -20 && m.Celsius <= 60 {
		return nil
	}
	return fmt.Errorf("resistance: expected more than 0 ohm at -20 to 60 °C, got %g ohm at %g °C", m.Ohm, m.Celsius)
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
	text := fmt.Sprintf("resistance %.0f ohm at %.1f °C, %.0f ohm at 20 °C", r.Ohm, r.Celsius, r.At20)
	if !r.Target.Known() {
		return text
	}
	text += fmt.Sprintf(": %+.1f %% off the %.0f ohm ordered", float64(r.Off), float64(r.Target))
	switch {
	case !r.Tolerance.Known():
		return text
	case r.Within():
		return text + fmt.Sprintf(", within +- %g %%", float64(r.Tolerance))
	}
	return text + fmt.Sprintf(", not within +- %g %%", float64(r.Tolerance))
}
