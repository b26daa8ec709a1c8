package capture

import (
	"testing"
	"testing/synctest"
	"time"

	"evenpole/jig"
)

func TestClockOf(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		time.Sleep(25*time.Hour + 3*time.Minute)
		if got := clockOf(jig.Ident{Firmware: "1.4"})(); !got.Equal(time.Now()) {
			t.Errorf("a jig: %v", got)
		}
		clock := clockOf(jig.Ident{Firmware: "sim 2026-03-02"})
		time.Sleep(time.Second)
		if got, want := clock(), time.Date(2026, 3, 2, 1, 3, 1, 0, time.UTC); !got.Equal(want) {
			t.Errorf("a simulated jig on its own day: %v, want %v", got, want)
		}
	})
}
