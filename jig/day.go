package jig

import (
	"strings"
	"time"
)

// simulatedOn begins the firmware of a simulated jig that has days of its own.
const simulatedOn = "sim "

// SimulatedOn is the firmware of a simulated jig on a day of its own: "sim 2026-03-02".
func SimulatedOn(day time.Time) string { return simulatedOn + day.Format(time.DateOnly) }

// SimulatedDay is the day that a simulated jig has; ok is false for any other jig.
func (x *Ident) SimulatedDay() (day time.Time, ok bool) {
	text, ok := strings.CutPrefix(x.Firmware, simulatedOn)
	if !ok {
		return day, false
	}
	day, err := time.Parse(time.DateOnly, text)
	return day, err == nil
}
