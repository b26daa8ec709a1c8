package cell

import (
	"testing"
	"time"
)

// Fingerprints stand in the model files of every shop: a model is told from
// another, and a pickup from what it was, by them.
func TestFingerprintsStay(t *testing.T) {
	d := &Data{
		Cells: []Cell{
			{Pickup: "T-1", Session: "s001", String: 1, Set: "light \"10\"", Core: 0.254, Gauge: 0.254, Wrap: "plain", PoleHeight: 0.4, StringHeight: 3,
				Mode: "P", Excite: "travel", Batch: "gale", Takes: 6, Mean: 2.5123456789, SD: 0.03, Freq: 329.628, Weight: 1,
				First: time.Date(2025, 3, 3, 8, 49, 54, 870e6, time.UTC), Field: -0.02, FieldKnown: true},
			{Pickup: "T-1", String: 6, Core: 0.42, Wrap: "nickel", StringHeight: 3.5, Mode: "D", Excite: "drive", Takes: 1, Mean: 2, Weight: 0.01, UsualPitch: true},
		},
		Magnets: map[string]float64{"gale/2": 0.01, "gale/1": -0.01}, FieldSD: 0.04, Batches: map[string]float64{"gale": 5.6},
	}
	const want = "52a57a8c4d717009e1e94ae38b1d57686ed31debcc5ae82cbeaffaa9d46f1236"
	if got := d.Fingerprint(); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	d.Cells[0].Rows, d.LeftOut, d.Readings = []Span{{0, 2, 9}}, []LeftOut{{Reason: "quiet level"}}, 12
	if got := d.Fingerprint(); got != want {
		t.Errorf("where rows stand and what was left out changed it: %s", got)
	}
	d.Cells[0].Mean += 1e-15
	if got := d.Fingerprint(); got == want {
		t.Error("a level that differs in its last digit did not change it")
	}
}
