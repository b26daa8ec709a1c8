package capture

import (
	"strings"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/jig"
)

// A level that the jig's input cannot have is not ok, whatever the jig's flags say.
func TestBeyondFullScale(t *testing.T) {
	id := jig.Ident{Jig: "bench", FullScaleUV: 1_000_000}
	for _, c := range []struct {
		rms, peak int64
		want      record.Status
	}{
		{900_000, 1_000_000, record.OK},
		{900_000, 1_000_001, record.Clipped},
		{9_000_000_000_000_000_000, 0, record.Clipped},
	} {
		r, notes := sentReading(jig.Reading{RMSUV: c.rms, PeakUV: c.peak}, id, time.Time{})
		said := strings.Contains(joinNotes(notes), "beyond the jig's full scale of 1000 mV")
		if r.Status != c.want || said != (c.want != record.OK) {
			t.Errorf("%d, %d: %s, %q", c.rms, c.peak, r.Status, notes)
		}
	}
}
