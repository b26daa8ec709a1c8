package profiles

import (
	"math"
	"testing"
)

func TestWrongPitch(t *testing.T) {
	for _, c := range []struct {
		note string
		hz   float64
		want string
	}{
		{"E4", 329.63, ""},
		{"E4", 338, ""}, // 43 cents sharp
		{"E4", 340, "at 340.0 Hz, its note at 329.6 Hz: F4 in place of E4"},
		{"E4", 97.999, "at 98.0 Hz, its note at 329.6 Hz: G2 in place of E4"},
		{"A2", 55, "at 55.0 Hz, its note at 110.0 Hz: A1 in place of A2"},
		{"Bb1", 58.27, ""},
		{"C4", 15, "at 15.0 Hz, its note at 261.6 Hz: B-1 in place of C4"},
		{"", 100, ""},
		{"E4", 0, ""},
	} {
		if got := WrongPitch(c.note, c.hz); got != c.want {
			t.Errorf("%s at %g Hz: got %q, want %q", c.note, c.hz, got, c.want)
		}
	}
	for s := range 60 { // every name is one that Pitch reads
		hz := 32.7032 * math.Exp2(float64(s)/12)
		if got, err := Pitch(nearestNote(hz)); err != nil || got/hz > 1.001 || got/hz < 0.999 {
			t.Errorf("%g Hz is called %s", hz, nearestNote(hz))
		}
	}
}
