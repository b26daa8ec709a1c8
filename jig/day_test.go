package jig

import (
	"testing"
	"time"
)

func TestSimulatedDay(t *testing.T) {
	on := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
	if day, ok := (&Ident{Firmware: SimulatedOn(on)}).SimulatedDay(); !ok || !day.Equal(on) {
		t.Errorf("%v, %t", day, ok)
	}
	for _, firmware := range []string{"sim", "sim ", "sim 2026-13-01", "2026-03-02", "fw sim 2026-03-02", "sim 2026-03-02 b"} {
		if _, ok := (&Ident{Firmware: firmware}).SimulatedDay(); ok {
			t.Errorf("%q has a day", firmware)
		}
	}
}
