package verify

import (
	"context"
	"io"
	"slices"
	"testing"

	"evenpole/jig"
	"evenpole/jig/sim"
)

// TestSim: the simulated jig passes, plucking and driving; one that has lost its memory does not.
func TestSim(t *testing.T) {
	mounted := sim.Mounted{}
	for i := range 6 {
		mounted.Poles = append(mounted.Poles, sim.Pole{Radius: 2.4, Length: 17, Remanence: 1.1})
		mounted.Strings = append(mounted.Strings, sim.String{Gauge: 0.25 + 0.1*float64(i), Core: 0.25 + 0.05*float64(i)})
		mounted.StringHeights = append(mounted.StringHeights, 3)
	}
	for _, x := range []struct {
		cfg  sim.Config
		fail string
	}{
		{cfg: sim.Config{}},
		{cfg: sim.Config{Excite: jig.Drive}},
		{cfg: sim.Config{Faults: sim.Faults{NoResend: true}}, fail: "resend"},
		{cfg: sim.Config{Faults: sim.Faults{OldAnswer: 0.2}}, fail: "answers"},
		{cfg: sim.Config{Faults: sim.Faults{LoseLine: 0.02}}, fail: "status-seq"},
		{cfg: sim.Config{Faults: sim.Faults{BitFlip: 0.02}}, fail: "framing"},
	} {
		x.cfg.Seed = 1
		x.cfg.Scatter = &sim.Scatter{Pluck: 0.02, Hum: 0.3}
		serve := func(port io.ReadWriteCloser) {
			j := sim.New(x.cfg) // in the bubble, by whose clock it goes
			j.Mount(mounted)
			j.Serve(context.Background(), port)
		}
		inBubble(t, Options{}, serve, func(t *testing.T, rep *Report) {
			if x.fail == "" && !rep.Passed() || x.fail != "" && !slices.Contains(rep.Failed, x.fail) {
				t.Errorf("failed %q, want %q%s", rep.Failed, x.fail, failures(rep))
			}
			if m := rep.Measured; x.fail == "" && (m.Takes != takes || m.ScatterDB < 0.03 || m.ScatterHigh > 0.5 || m.QuietMV < 0.2 || m.QuietMV > 0.4) {
				t.Errorf("measured %+v", m)
			}
		})
	}
}
