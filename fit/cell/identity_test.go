package cell

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/profiles"
)

// Fingerprints stand in the model files of every shop: a model is told from
// another, and a pickup from what it was, by them.
func TestFingerprintsStay(t *testing.T) {
	d := &Data{
		Cells: []Cell{
			{
				Mounting: &Mounting{Pickup: "T-1", Session: "s001", Set: "light \"10\"", Mode: "P", Excite: "travel", Batch: "gale"},
				String:   1, Core: 0.254, Gauge: 0.254, Wrap: "plain", PoleHeight: 0.4, StringHeight: 3, Takes: 6, Mean: 2.5123456789, SD: 0.03, Freq: 329.628,
				Weight: 1, First: InstantOf(time.Date(2025, 3, 3, 8, 49, 54, 870e6, time.UTC)), Field: -0.02, FieldKnown: true,
			},
			{
				Mounting: &Mounting{Pickup: "T-1", Mode: "D", Excite: "drive"},
				String:   6, Core: 0.42, Wrap: "nickel", StringHeight: 3.5, Takes: 1, Mean: 2, Weight: 0.01, UsualPitch: true,
			},
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

// The line of a cell is what package fmt writes, which fingerprints in model files were
// made by.
func TestFingerprintLine(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 8))
	numbers := []float64{0, 1, -1.5, 0.1, 1e-7, 1e6, 123456789, 1e21, 1e22, math.Inf(1), math.Inf(-1), math.NaN(), 2.453201246916923}
	texts := []string{"", "P1", "a \"b\"", "é\n\t", "\xff"}
	for range 200 {
		number := func() float64 { return numbers[r.IntN(len(numbers))] }
		text := func() string { return texts[r.IntN(len(texts))] }
		c := Cell{
			Mounting: &Mounting{Pickup: text(), Session: text(), Set: text(), Mode: record.Mode(text()), Excite: profiles.Excitation(text()), Batch: text()},
			String:   r.IntN(20) - 5, Core: number(), Gauge: number(), Wrap: profiles.Wrap(text()), PoleHeight: number(), StringHeight: number(),
			Takes: r.IntN(9), Mean: number(), SD: number(), Freq: number(), First: InstantOf(time.Unix(int64(r.IntN(1e9)), int64(r.IntN(1e9)))),
			Weight: number(), Field: number(), FieldKnown: r.IntN(2) == 0, UsualPitch: r.IntN(2) == 0,
		}
		want := fmt.Sprintf("pickup=%q session=%q string=%d set=%q core=%v gauge=%v wrap=%q pole_height=%v string_height=%v mode=%q excite=%q"+
			" batch=%q takes=%d mean=%v sd=%v freq=%v first=%q weight=%v field=%v field_known=%t usual_pitch=%t\n",
			c.Pickup, c.Session, c.String, c.Set, c.Core, c.Gauge, c.Wrap, c.PoleHeight, c.StringHeight, c.Mode, c.Excite,
			c.Batch, c.Takes, c.Mean, c.SD, c.Freq, c.First.Time().Format(time.RFC3339Nano), c.Weight, c.Field, c.FieldKnown, c.UsualPitch)
		if got := string(c.appendTo(nil, false)); got != want {
			t.Fatalf("got\n%swant\n%s", got, want)
		}
		c.Remount(func(m *Mounting) { m.Jig = text() })
		if got, want := string(c.appendTo(nil, true)), strings.TrimSuffix(want, "\n")+fmt.Sprintf(" jig=%q\n", c.Jig); got != want {
			t.Fatalf("of several jigs: got\n%swant\n%s", got, want)
		}
	}
}

// Texts stand in a fingerprint as strconv quotes them.
func TestAppendQuoted(t *testing.T) {
	for _, text := range []string{"", "T-01", "a b~!", `say "x"`, `back\slash`, "tab\t", "\x7f", "Größe", "絃", "\xff", "a\x00b"} {
		if got, want := string(appendQuoted([]byte("x="), text)), "x="+strconv.Quote(text); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
}
