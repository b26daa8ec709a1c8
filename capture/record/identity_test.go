package record

import (
	"testing"

	"evenpole/profiles"
)

// The names of mounts stand in sessions.csv of every shop: a capture that was
// interrupted is found by them.
func TestMountNamesStay(t *testing.T) {
	pickup := &profiles.Mount{
		File: "a.toml", Text: []byte("# a comment"), Pickup: "T-004/b", Batch: "M-03", Poles: profiles.Rod,
		PoleHeights: []float64{0.4, 0.8}, Magnets: []string{"M-03/11", "M-03/02"}, StringHeights: []float64{3, 3.25}, ProbeGap: 0.5, Set: "two",
		Strings: []profiles.String{{Note: "E4", Gauge: 0.254, Core: 0.254, Wrap: "plain"}, {Gauge: 1.168, Core: 0.42, Wrap: "nickel", CoreEstimated: true}},
	}
	loose := &profiles.Mount{Batch: "M-03", Magnets: []string{"M-03/11"}, ProbeGap: 0.5}
	for _, x := range []struct {
		mount *profiles.Mount
		want  string
	}{{pickup, "T-004-b-622c60c8.toml"}, {loose, "M-03-af14b2f9.toml"}} {
		if got, err := MountName(x.mount); err != nil || got != x.want {
			t.Errorf("got %q, %v, want %q", got, err, x.want)
		}
	}
}
