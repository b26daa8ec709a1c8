package jigtest_test

import (
	"context"
	"errors"
	"net"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"evenpole/jig"
	"evenpole/jig/jigtest"
)

type (
	mishaps = map[int]jigtest.Mishap
	slips   = map[int]jigtest.Slip
)

// talk is the host's conversation with a jig, and what came of it.
type talk struct {
	t    *testing.T
	jig  *jigtest.Jig
	conn *jig.Conn
	got  []jigtest.Entry
}

func onTalk(t *testing.T, cfg jigtest.Config, f func(x *talk)) {
	synctest.Test(t, func(t *testing.T) {
		cfg.StatusEvery = time.Second
		x := &talk{t: t, jig: jigtest.New(cfg)}
		x.plug()
		f(x)
		x.conn.Close()
		synctest.Wait()
	})
}

// plug connects host and jig, and has the host find out who is there.
func (x *talk) plug() {
	x.t.Helper()
	ours, theirs := net.Pipe()
	go x.jig.Serve(context.Background(), theirs) // ends with the host's Close
	conn, err := jig.Attach(x.t.Context(), ours, "test port", jig.Options{})
	if err != nil {
		x.t.Fatal(err)
	}
	x.conn = conn
}

// sink writes down what is handed on, as the jig's log would have it.
func (x *talk) sink() jig.Sink {
	return jig.Sink{
		Reading: func(r jig.Reading) error {
			x.got = append(x.got, jigtest.Entry{
				Jig: x.conn.Ident().Jig, Boot: r.Boot.String(), Seq: r.Seq, MS: r.Millis,
				String: r.String, Take: r.Take, Mode: string(rune(r.Mode)),
				RMS: int(r.RMSUV), Peak: int(r.PeakUV), Freq: int(r.FreqMHz), Window: int(r.WindowMS), Flags: int(r.Flags),
			})
			return nil
		},
		Field: func(f jig.Field) error {
			x.got = append(x.got, jigtest.Entry{
				Jig: x.conn.Ident().Jig, Boot: f.Boot.String(), Seq: f.Seq, MS: f.Millis,
				Position: f.Position, Take: f.Take, Field: int(f.FieldUT),
			})
			return nil
		},
	}
}

func (x *talk) do(c jig.Command) (jig.Outcome, error) {
	return x.conn.Do(x.t.Context(), c, x.sink())
}

// truth is the jig's log without the readings that are told to be gone, and
// without the ids, which are the host's affair.
func (x *talk) truth(gone ...int) []jigtest.Entry {
	var all []jigtest.Entry
	for i, e := range x.jig.Log() {
		if !slices.Contains(gone, i+1) {
			e.Command = 0
			all = append(all, e)
		}
	}
	return all
}

// agrees compares what came with the truth: each reading once, in any order.
func (x *talk) agrees(want []jigtest.Entry) {
	x.t.Helper()
	missing := slices.Clone(want)
	for _, e := range x.got {
		i := slices.Index(missing, e)
		if i < 0 {
			x.t.Errorf("came twice or was never made: %+v", e)
			continue
		}
		missing = slices.Delete(missing, i, i+1)
	}
	for _, e := range missing {
		x.t.Errorf("never came: %+v", e)
	}
}

// Faults of the line and of the jig's manners cost time, and no reading.
func TestConnGetsEveryReading(t *testing.T) {
	const wrap = 1<<32 - 20
	tests := []struct {
		name string
		cfg  jigtest.Config
	}{
		{"no fault", jigtest.Config{}},
		{"bits flipped both ways", jigtest.Config{ToHost: jigtest.Wire{FlipBit: 1e-3}, ToJig: jigtest.Wire{FlipBit: 1e-3}}},
		{"bytes lost both ways", jigtest.Config{ToHost: jigtest.Wire{LoseByte: 5e-3}, ToJig: jigtest.Wire{LoseByte: 5e-3}}},
		{"lines lost both ways", jigtest.Config{ToHost: jigtest.Wire{LoseLine: 0.3}, ToJig: jigtest.Wire{LoseLine: 0.3}}},
		{"all lines doubled", jigtest.Config{ToHost: jigtest.Wire{DoubleLine: 1}, ToJig: jigtest.Wire{DoubleLine: 1}}},
		{"garbage at first", jigtest.Config{Garbage: 1000}},
		{"seq and clock wrap", jigtest.Config{FirstSeq: wrap, Clock: 1<<32 - 1000}},
		{"wrap with lines lost", jigtest.Config{FirstSeq: wrap, ToHost: jigtest.Wire{LoseLine: 0.3}}},
		{"often busy", jigtest.Config{Busy: 0.7}},
		{"slow takes", jigtest.Config{TakeTime: 20 * time.Second}},
		{"late answers", jigtest.Config{AtCommand: slips{3: {Delay: 20 * time.Second}, 4: {Delay: 20 * time.Second}}}},
		{"answers not sent", jigtest.Config{AtCommand: slips{1: {Mute: true}, 3: {Mute: true}, 5: {Mute: true}}}},
		{"commands not heard", jigtest.Config{AtCommand: slips{1: {Deaf: true}, 3: {Deaf: true}, 5: {Deaf: true}}}},
		{"answers to old commands", jigtest.Config{AtCommand: slips{2: {Stale: true}, 3: {Stale: true}, 4: {Stale: true}}}},
		{"answers between takes", jigtest.Config{Prompt: true, ToHost: jigtest.Wire{LoseLine: 0.3}}},
		{"silent for 4 s", jigtest.Config{AtReading: mishaps{9: {Silence: 4 * time.Second}}}},
		{"last readings lost", jigtest.Config{AtReading: mishaps{5: {Lose: true}, 44: {Lose: true}, 45: {Lose: true}}}},
		{"last reading lost after S lines", jigtest.Config{TakeTime: 1500 * time.Millisecond, AtReading: mishaps{45: {Lose: true}}}},
		{"flagged takes", jigtest.Config{Flags: map[jigtest.Shot]int{
			{String: 2, Mode: "P", Nth: 1}: jigtest.DoubleStrike, {String: 2, Mode: "P", Nth: 2}: jigtest.ShortWindow | jigtest.MechanicalFault}}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			onTalk(t, test.cfg, func(x *talk) {
				for _, c := range []jig.Command{jig.QuietCommand(2, 5), jig.PluckCommand(2, 40), jig.FieldCommand(3, 4)} {
					if o, err := x.do(c); err != nil || o.Got != c.Count || o.Lost != 0 {
						x.t.Errorf("%v: %+v, %v", c.Verb, o, err)
					}
				}
				if n := len(x.jig.Log()); n != 49 {
					x.t.Errorf("the jig made %d readings, want 49: a command was done twice", n)
				}
				x.agrees(x.truth())
			})
		})
	}
}

func TestConnOnADrivenJig(t *testing.T) {
	onTalk(t, jigtest.Config{Excite: "drive"}, func(x *talk) {
		if o, err := x.do(jig.DriveCommand(1, 440_000, 3)); err != nil || o.Got != 3 {
			x.t.Errorf("%+v, %v", o, err)
		}
		x.agrees(x.truth())
		var refused *jig.CommandError
		if _, err := x.do(jig.PluckCommand(1, 3)); !errors.As(err, &refused) || refused.Code != jig.NotAvailable {
			x.t.Errorf("pluck: %v, want not available", err)
		}
	})
}

// What the jig has no more is told to be lost, and the rest comes.
func TestConnTellsWhatIsLost(t *testing.T) {
	for _, cfg := range []jigtest.Config{
		{AtReading: mishaps{3: {Lose: true, Forget: true}}},
		{Keep: 1, AtReading: mishaps{3: {Lose: true}}},
	} {
		onTalk(t, cfg, func(x *talk) {
			if o, err := x.do(jig.PluckCommand(1, 9)); err != nil || o != (jig.Outcome{Got: 8, Lost: 1}) {
				x.t.Errorf("%+v, %v, want 8 got and 1 lost", o, err)
			}
			x.agrees(x.truth(3))
		})
	}
}

func TestConnEndsWithAClearError(t *testing.T) {
	tests := []struct {
		name string
		cfg  jigtest.Config
		want error
		got  int
	}{
		{"silence", jigtest.Config{AtReading: mishaps{4: {Silence: time.Hour}}}, jig.ErrSilent, 4},
		{"hang-up", jigtest.Config{AtReading: mishaps{4: {HangUp: true}}}, jig.ErrUnplugged, 4},
		{"always busy", jigtest.Config{Busy: 1}, nil, 0},
		{"jam", jigtest.Config{AtReading: mishaps{4: {Jam: true}}}, nil, 4},
		{"restart", jigtest.Config{AtReading: mishaps{4: {Restart: true}}}, nil, 4},
	}
	codes := map[string]jig.Code{"always busy": jig.Busy, "jam": jig.Mechanical}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			onTalk(t, test.cfg, func(x *talk) {
				_, err := x.do(jig.PluckCommand(1, 9))
				var refused *jig.CommandError
				var restart *jig.RestartError
				switch code, isCode := codes[test.name]; {
				case test.want != nil && !errors.Is(err, test.want):
					x.t.Errorf("%v, want %v", err, test.want)
				case isCode && (!errors.As(err, &refused) || refused.Code != code):
					x.t.Errorf("%v, want %v", err, code)
				case test.name == "restart" && !errors.As(err, &restart):
					x.t.Errorf("%v, want a restart", err)
				}
				if x.agrees(x.truth()[:test.got]); len(x.got) != test.got {
					x.t.Errorf("%d readings, want %d", len(x.got), test.got)
				}
			})
		})
	}
}

func TestConnGoesOnAfterARestart(t *testing.T) {
	for name, m := range map[string]jigtest.Mishap{"between lines": {Restart: true}, "in mid-line": {Cut: true}} {
		t.Run(name, func(t *testing.T) {
			onTalk(t, jigtest.Config{AtReading: mishaps{4: m}}, func(x *talk) {
				o, err := x.do(jig.PluckCommand(1, 9))
				var restart *jig.RestartError
				if !errors.As(err, &restart) {
					x.t.Fatalf("%v, want a restart", err)
				}
				if err := x.conn.Reattach(x.t.Context()); err != nil {
					x.t.Fatal(err)
				}
				if o, err = x.do(jig.PluckCommand(1, 9-o.Got)); err != nil || o.Lost != 0 {
					x.t.Errorf("%+v, %v", o, err)
				}
				if len(x.got) != 9 {
					x.t.Errorf("%d readings, want 9", len(x.got))
				}
				if m.Cut {
					x.agrees(x.truth(4))
				} else {
					x.agrees(x.truth())
				}
			})
		})
	}
}

// The port comes back, and the jig has gone on meanwhile: what it made unheard
// is asked for.
func TestConnGetsTheTail(t *testing.T) {
	onTalk(t, jigtest.Config{AtReading: mishaps{4: {HangUp: true}}}, func(x *talk) {
		if _, err := x.do(jig.PluckCommand(1, 9)); !errors.Is(err, jig.ErrUnplugged) {
			x.t.Fatalf("%v, want unplugged", err)
		}
		x.conn.Close()
		time.Sleep(7 * time.Millisecond) // three takes
		x.plug()
		lost, err := x.conn.Recover(x.t.Context(), x.got[len(x.got)-1].Seq+1, x.conn.Last(), x.sink())
		if err != nil || len(lost) > 0 {
			x.t.Errorf("lost %v, %v", lost, err)
		}
		x.agrees(x.truth())
		if n := len(x.got); n <= 4 || n >= 9 {
			x.t.Errorf("%d readings, want some more than 4, and less than 9 because the host stopped the jig", n)
		}
	})
}

// A host that sleeps for an hour in the middle of a command goes on when it
// wakes, whether the jig went on meanwhile or was as good as gone.
func TestConnAfterASleep(t *testing.T) {
	for _, m := range []jigtest.Mishap{{}, {Silence: time.Hour + 2*time.Second}} {
		onTalk(t, jigtest.Config{TakeTime: time.Second, AtReading: mishaps{2: m}}, func(x *talk) {
			s, n := x.sink(), 0
			o, err := x.conn.Do(x.t.Context(), jig.PluckCommand(1, 9), jig.Sink{Reading: func(r jig.Reading) error {
				if n++; n == 2 {
					time.Sleep(time.Hour)
				}
				return s.Reading(r)
			}})
			if err != nil || o.Got != 9 || o.Lost != 0 {
				x.t.Errorf("silent for %v: %+v, %v", m.Silence, o, err)
			}
			x.agrees(x.truth())
		})
	}
}
