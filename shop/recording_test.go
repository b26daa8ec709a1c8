package shop

import (
	"strings"
	"testing"
	"time"

	"evenpole/capture"
	"evenpole/jig"
	"evenpole/profiles"
	"evenpole/recording"
)

// Plucks that are drowned in hum do not count, and what to do about it is said once.
func TestHumInARecordingIsSaidOnce(t *testing.T) {
	m, err := profiles.ParseMount("m.toml", []byte(mountOf("M-1", rods, "[1.0, 1.5]", `string = [{gauge_mm = 0.25, note = "E4", wrap = "plain"}, {gauge_mm = 0.33, note = "B3", wrap = "plain"}]`)), profiles.Builtin())
	if err != nil {
		t.Fatal(err)
	}
	pluck := func(str int, hum float64) recording.Pluck {
		p := recording.Pluck{Release: time.Second, Window: time.Second / 2, String: str, Freq: 300, RMS: 0.1, Peak: 0.3, Quiet: 0.001, Hum: hum}
		if hum > 0 {
			p.Flags = jig.Fault
		}
		return p
	}
	for _, c := range []struct {
		plucks []recording.Pluck
		takes  string
		says   string
	}{
		{[]recording.Pluck{pluck(1, 0), pluck(2, 0)}, "2 takes", ""},
		{[]recording.Pluck{pluck(1, 50), pluck(1, 0), pluck(2, 50)}, "3 takes, of which 1 count", "hum of the mains (50 Hz) drowns 2 plucks: turn the pickup"},
	} {
		u, err := UnderstandRecording(&capture.Recording{Jig: "recording", Excite: profiles.Travel, Heard: &recording.Heard{Plucks: c.plucks}}, m)
		if err != nil {
			t.Fatal(err)
		}
		if u.Takes() != c.takes || strings.Count(strings.Join(u.Notices, "\n"), "hum of the mains") != strings.Count(c.says, "hum") || !strings.Contains(strings.Join(u.Notices, "\n"), c.says) {
			t.Errorf("%s, want %s; notices %q, want %q", u.Takes(), c.takes, u.Notices, c.says)
		}
	}
}
