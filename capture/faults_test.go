package capture_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"evenpole/capture"
	"evenpole/jig"
	"evenpole/jig/jigtest"
	"evenpole/jig/sim"
)

// ends is how a capture under a fault has to go.
type ends struct {
	first    error // why the first try ends before it is complete; nil: it does not
	restarts int   // of the jig
	lost     bool  // readings may be gone for good: they are told to be, and made again
	cut      int   // readings that a restart took with it
}

type (
	mishaps = map[int]jigtest.Mishap
	slips   = map[int]jigtest.Slip
)

// every is the same slip for the first hundred commands.
func every(s jigtest.Slip) slips {
	all := slips{}
	for n := range 100 {
		all[n+1] = s
	}
	return all
}

const wrap = 1<<32 - 20

// The independent jig over a bad line: the capture ends complete or with a clear
// error, the same command goes on from there, and the record is the jig's log.
func TestFaultsOfTheLine(t *testing.T) {
	for _, test := range []struct {
		name string
		cfg  jigtest.Config
		ends
	}{
		{"none", jigtest.Config{}, ends{}},
		{"bits flipped", jigtest.Config{ToHost: jigtest.Wire{FlipBit: 1e-3}, ToJig: jigtest.Wire{FlipBit: 1e-3}}, ends{}},
		{"bytes lost", jigtest.Config{ToHost: jigtest.Wire{LoseByte: 5e-3}, ToJig: jigtest.Wire{LoseByte: 5e-3}}, ends{}},
		{"bytes doubled", jigtest.Config{ToHost: jigtest.Wire{DoubleByte: 5e-3}, ToJig: jigtest.Wire{DoubleByte: 5e-3}}, ends{}},
		{"lines lost", jigtest.Config{ToHost: jigtest.Wire{LoseLine: 0.1}, ToJig: jigtest.Wire{LoseLine: 0.1}}, ends{}},
		{"lines doubled", jigtest.Config{ToHost: jigtest.Wire{DoubleLine: 1}, ToJig: jigtest.Wire{DoubleLine: 1}}, ends{}},
		{"garbage at first", jigtest.Config{Garbage: 1000}, ends{}},
		{"reset in mid-line", jigtest.Config{AtReading: mishaps{7: {Cut: true}}}, ends{restarts: 1, cut: 1}},
		{"restart", jigtest.Config{AtReading: mishaps{7: {Restart: true}}}, ends{restarts: 1}},
		{"two restarts", jigtest.Config{AtReading: mishaps{7: {Restart: true}, 11: {Restart: true}}}, ends{restarts: 2}},
		{"restart over a bad line", jigtest.Config{AtReading: mishaps{7: {Restart: true}}, ToHost: jigtest.Wire{FlipBit: 5e-4}}, ends{restarts: 1, lost: true}},
		{"clock wraps", jigtest.Config{Clock: 1<<32 - 2000}, ends{}},
		{"seq wraps", jigtest.Config{FirstSeq: wrap}, ends{}},
		{"seq wraps over a bad line", jigtest.Config{FirstSeq: wrap, ToHost: jigtest.Wire{LoseLine: 0.1}}, ends{}},
		{"slow answers", jigtest.Config{AtCommand: every(jigtest.Slip{Delay: 20 * time.Second})}, ends{}},
		{"slow takes", jigtest.Config{TakeTime: 20 * time.Second}, ends{}},
		{"answers to old commands", jigtest.Config{AtCommand: every(jigtest.Slip{Stale: true})}, ends{}},
		{"busy", jigtest.Config{Busy: 0.7}, ends{}},
		{"RESEND refused", jigtest.Config{Keep: 1, ToHost: jigtest.Wire{LoseLine: 0.2}}, ends{lost: true}},
		{"silent for 4 s", jigtest.Config{AtReading: mishaps{7: {Silence: 4 * time.Second}}}, ends{}},
		{"silent for an hour", jigtest.Config{AtReading: mishaps{7: {Silence: time.Hour}}}, ends{first: jig.ErrSilent}},
		{"hang-up", jigtest.Config{AtReading: mishaps{7: {HangUp: true}}}, ends{first: jig.ErrUnplugged}},
		{"hang-up over a bad line", jigtest.Config{AtReading: mishaps{7: {HangUp: true}}, ToHost: jigtest.Wire{FlipBit: 1e-3, LoseLine: 0.1}}, ends{first: jig.ErrUnplugged}},
		{"hang-up and restart", jigtest.Config{AtReading: mishaps{7: {HangUp: true, Restart: true}}}, ends{first: jig.ErrUnplugged}},
		{"hang-up at the wrap", jigtest.Config{FirstSeq: 1<<32 - 5, AtReading: mishaps{7: {HangUp: true}}}, ends{first: jig.ErrUnplugged}},
		{"all at once", jigtest.Config{
			Garbage: 200, Busy: 0.1, FirstSeq: wrap, AtCommand: every(jigtest.Slip{Stale: true}),
			ToHost:    jigtest.Wire{FlipBit: 2e-4, LoseByte: 1e-3, DoubleByte: 1e-3, LoseLine: 0.05, DoubleLine: 0.05},
			ToJig:     jigtest.Wire{FlipBit: 2e-4, LoseByte: 1e-3, DoubleByte: 1e-3, LoseLine: 0.05, DoubleLine: 0.05},
			AtReading: mishaps{4: {Cut: true}, 9: {HangUp: true}, 13: {Silence: 3 * time.Second}, 15: {Restart: true}},
		}, ends{first: jig.ErrUnplugged, restarts: 2, lost: true, cut: 1}},
	} {
		t.Run(test.name, func(t *testing.T) {
			cfg := test.cfg
			cfg.StatusEvery = time.Second
			if cfg.TakeTime == 0 {
				cfg.TakeTime = time.Second
			}
			underFaults(t, test.ends, func() (device, func() []made) {
				j := jigtest.New(cfg)
				return j, func() []made { return madeByTest(j) }
			})
		})
	}
}

// The same for the simulated jig.
func TestFaultsOfTheLineToTheSimulatedJig(t *testing.T) {
	for _, test := range []struct {
		name string
		cfg  sim.Config
		ends
	}{
		{"none", sim.Config{}, ends{}},
		{"bits flipped", sim.Config{Faults: sim.Faults{BitError: 1e-3}}, ends{}},
		{"bytes lost", sim.Config{Faults: sim.Faults{LoseByte: 0.2}}, ends{}},
		{"bytes doubled", sim.Config{Faults: sim.Faults{DoubleByte: 0.2}}, ends{}},
		{"lines lost", sim.Config{Faults: sim.Faults{LoseLine: 0.1}}, ends{}},
		{"lines doubled", sim.Config{Faults: sim.Faults{DoubleLine: 1}}, ends{}},
		{"garbage at first", sim.Config{Faults: sim.Faults{Garbage: true}}, ends{}},
		{"reset in mid-line", sim.Config{Faults: sim.Faults{CutAfter: 7}}, ends{restarts: 1, cut: 1}},
		{"restart", sim.Config{Faults: sim.Faults{RestartAfter: 7}}, ends{restarts: 1}},
		{"clock wraps", sim.Config{Clock: 1<<32 - 2000}, ends{}},
		{"seq wraps", sim.Config{FirstSeq: wrap}, ends{}},
		{"seq wraps over a bad line", sim.Config{FirstSeq: wrap, Faults: sim.Faults{LoseLine: 0.1}}, ends{}},
		{"slow answers", sim.Config{Faults: sim.Faults{SlowAnswer: 20 * time.Second}}, ends{}},
		{"answers to old commands", sim.Config{Faults: sim.Faults{OldAnswer: 1}}, ends{}},
		{"RESEND refused", sim.Config{Faults: sim.Faults{NoResend: true, LoseLine: 0.2}}, ends{lost: true}},
		{"silent for 4 s", sim.Config{Faults: sim.Faults{MuteAfter: 7, Mute: 4 * time.Second}}, ends{}},
		{"silent for an hour", sim.Config{Faults: sim.Faults{MuteAfter: 7, Mute: time.Hour}}, ends{first: jig.ErrSilent}},
		{"hang-up", sim.Config{Faults: sim.Faults{HangUpAfter: 7}}, ends{first: jig.ErrUnplugged}},
		// A quarter of all lines are bad here: now and then a reading is given up, and said to be.
		{"hang-up over a bad line", sim.Config{Faults: sim.Faults{HangUpAfter: 7, BitError: 3e-4, LoseLine: 0.1}}, ends{first: jig.ErrUnplugged, lost: true}},
		{"all at once", sim.Config{FirstSeq: wrap, Faults: sim.Faults{
			BitFlip: 0.05, LoseByte: 0.05, DoubleByte: 0.05, LoseLine: 0.05, DoubleLine: 0.05, Garbage: true,
			CutAfter: 4, HangUpAfter: 9, MuteAfter: 12, Mute: 3 * time.Second, RestartAfter: 15, SlowAnswer: time.Second, OldAnswer: 0.2,
		}}, ends{first: jig.ErrUnplugged, restarts: 2, lost: true, cut: 1}},
	} {
		t.Run(test.name, func(t *testing.T) {
			underFaults(t, test.ends, func() (device, func() []made) {
				j := sim.New(test.cfg)
				j.Mount(onSim)
				return j, func() []made { return madeBySim(j) }
			})
		})
	}
}

// onSim is the mount of the other tests, for the simulated jig.
var onSim = sim.Mounted{
	StringHeights: []float64{3, 3.25, 3.125},
	Strings: []sim.String{
		{Gauge: 0.254, Core: 0.254, Wrap: "plain", Freq: 329.63}, {Gauge: 0.3302, Core: 0.3302, Wrap: "plain", Freq: 246.94},
		{Gauge: 0.508, Core: 0.2667, Wrap: "nickel", Freq: 196},
	},
	Poles: []sim.Pole{
		{Height: 0.4, Radius: 2.38, Length: 16.5, Remanence: 0.6}, {Height: 0.8, Radius: 2.38, Length: 16.5, Remanence: 0.6},
		{Height: 1.9, Radius: 2.38, Length: 16.5, Remanence: 0.6},
	},
}

func madeBySim(j *sim.Jig) (all []made) {
	for _, r := range j.Log() {
		all = append(all, made{"sim-1", r.Boot.String(), r.Seq, r.String, r.Take, string(rune(r.Mode)), float64(r.RMSUV) / 1000,
			float64(r.FreqMHz) / 1000, float64(r.PeakUV) / 1000, float64(r.WindowMS), r.Flags&15 == 0})
	}
	return all
}

// underFaults gives the same command until the capture is complete, each time
// on a port of another name, and compares the record with the jig's log.
func underFaults(t *testing.T, want ends, start func() (device, func() []made)) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		dev, log := start()
		b := &bench{t: t, dir: dir, dev: dev}
		sum, first := b.untilComplete(capture.Options{Takes: 4, Quiet: 2})
		if want.first == nil && first != nil || !errors.Is(first, want.first) {
			t.Errorf("the first try ended with %v, expected %v", first, want.first)
		}
		if sum.Restarts != want.restarts {
			t.Errorf("%d restarts, expected %d", sum.Restarts, want.restarts)
		}
		if sum.Stray > 0 {
			t.Errorf("%d readings filed as not ours", sum.Stray)
		}
		lost := b.agrees(log())
		switch {
		case want.lost && len(lost) > sum.Lost+lostWithPower(log()), !want.lost && len(lost) != want.cut, !want.lost && sum.Lost > 0:
			t.Errorf("%d were told to be lost; the record lacks %v", sum.Lost, lost)
		}
		rows := b.readings()
		for str := 1; str <= 3; str++ {
			if q, p := good(rows, "s001", "Q", str), good(rows, "s001", "P", str); q < 2 || p < 4 {
				t.Errorf("string %d has %d good quiet windows and %d good takes", str, q, p)
			}
		}
		made := len(log())
		_, again := b.untilComplete(capture.Options{Takes: 4, Quiet: 2})
		if again != nil || len(log()) != made {
			t.Errorf("the complete capture, once more: %v, %d takes made", again, len(log())-made)
		}
	})
}

// lostWithPower bounds what restarts take with them: the readings of a command
// that was running, none of which the host may have had yet.
func lostWithPower(log []made) (n int) {
	for i := 1; i < len(log); i++ {
		if log[i].boot != log[i-1].boot {
			n += log[i-1].take
		}
	}
	return n
}

// untilComplete captures, again after each failure, until it is complete. It
// returns the sum of all tries, and why the first one failed.
func (b *bench) untilComplete(opt capture.Options) (sum capture.Result, first error) {
	b.t.Helper()
	const most = 8
	for n := 1; ; n++ {
		err := b.try(fmt.Sprintf("port %d", n), opt, &sum)
		if n == 1 {
			first = err
		}
		if err == nil || n == most {
			if err != nil {
				b.t.Errorf("after %d tries: %v", n, err)
			}
			return sum, first
		}
		time.Sleep(10 * time.Minute) // the person at the bench looks at the cable
	}
}

// try captures over a port of a name. Its error has to be one that a person can
// make something of.
func (b *bench) try(port string, opt capture.Options, sum *capture.Result) error {
	b.t.Helper()
	defer synctest.Wait()
	err := b.tryPlug(port)
	if err == nil {
		defer b.conn.Close()
		var res *capture.Result
		res, err = b.run(opt)
		sum.Restarts += res.Restarts
		sum.Lost += res.Lost
		sum.Stray += res.Stray
		if done := err == nil; done != res.Complete {
			b.t.Errorf("complete is %v, error %v", res.Complete, err)
		}
	}
	var lost *jig.PortError
	if err != nil && (!errors.As(err, &lost) || lost.Port != port || !strings.Contains(err.Error(), fmt.Sprintf("port %q: ", port))) {
		b.t.Errorf("an error that does not name %q: %v", port, err)
	}
	return err
}
