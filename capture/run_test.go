package capture_test

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/jig/jigtest"
	"evenpole/profiles"
)

type (
	shot  = jigtest.Shot
	flags = map[shot]int
)

func at(str int, mode string, nth int) shot { return shot{String: str, Mode: mode, Nth: nth} }

func TestCapture(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		res := b.must(capture.Options{Takes: 4, Quiet: 2})
		if !res.Complete || res.Already || res.Resumed || res.Session != "s001" || res.Kept != 18 {
			t.Errorf("%+v", res)
		}
		b.wholeRecord()
		rows := b.readings()
		want := strings.Split("1Q 1Q 1P 1P 1P 1P 2Q 2Q 2P 2P 2P 2P 3Q 3Q 3P 3P 3P 3P", " ")
		for i, r := range rows {
			if got := fmt.Sprint(r.String, r.Mode); strings.ReplaceAll(got, " ", "") != want[i] {
				t.Errorf("row %d is of %s, expected %s", i+1, got, want[i])
			}
		}
		const cells = "3 T-004 M-03 0.2667 0.508 nickel 1.9 3.125 model travel ok"
		r := rows[17]
		got := fmt.Sprint(r.String, " ", r.Pickup, " ", r.Batch, " ", r.Core, " ", r.Gauge, " ", r.Wrap, " ",
			r.PoleHeight, " ", r.StringHeight, " ", r.Purpose, " ", r.Excite, " ", r.Status)
		if got != cells {
			t.Errorf("cells %s, expected %s", got, cells)
		}
		if !math.IsNaN(rows[0].Quiet) {
			t.Error("a quiet window has a quiet level")
		}
	})
}

func TestQuietLevelIsTheRootOfTheMeanSquare(t *testing.T) {
	level := func(s shot) int {
		if s.Mode == "Q" {
			return []int{3000, 4000, 9000, 3500}[s.Nth-1]
		}
		return 50_000
	}
	// The third quiet window is flagged and does not count: sqrt((3²+4²+3.5²)/3)
	// is 3.524 mV, worked out by hand.
	onBench(t, jigtest.Config{Level: level, Flags: flags{at(1, "Q", 3): jigtest.ShortWindow}}, func(b *bench) {
		b.must(capture.Options{Takes: 1, Quiet: 3})
		for _, r := range b.readings() {
			if r.Mode == "P" && r.String == 1 && r.Quiet != 3.524 {
				t.Errorf("quiet level %v, expected 3.524", r.Quiet)
			}
		}
	})
}

func TestFlaggedTakesAreMadeAgain(t *testing.T) {
	cfg := jigtest.Config{Flags: flags{
		at(1, "P", 2): jigtest.DoubleStrike,
		at(2, "P", 1): jigtest.Clipped | jigtest.ShortWindow,
		at(2, "P", 4): jigtest.MechanicalFault | jigtest.Clipped | jigtest.DoubleStrike | jigtest.ShortWindow,
		at(3, "Q", 1): jigtest.ShortWindow,
		at(3, "P", 1): 32,
	}}
	onBench(t, cfg, func(b *bench) {
		res := b.must(capture.Options{Takes: 3, Quiet: 1})
		rows := b.readings()
		for str := 1; str <= 3; str++ {
			if good(rows, "s001", "P", str) != 3 || good(rows, "s001", "Q", str) != 1 {
				t.Errorf("string %d does not have 3 good takes and a quiet one", str)
			}
		}
		notes := map[string]int{}
		for _, r := range rows {
			notes[string(r.Status)+"|"+r.Note]++
		}
		want := map[string]int{
			"ok|": 11, "double_strike|": 1, "clipped|clipped; short_window": 1, "short_window|": 1,
			"fault|fault; clipped; double_strike; short_window": 1, "ok|unknown flags 20": 1,
		}
		if !maps.Equal(notes, want) {
			t.Errorf("%v, expected %v", notes, want)
		}
		if n := res.Tallies[3].Refused["clipped"]; res.Tallies[3].Mode != "P" || n != 1 {
			t.Errorf("%+v", res.Tallies[3])
		}
	})
}

func TestATakeWithinTheNoiseDoesNotCount(t *testing.T) {
	level := func(s shot) int {
		if s.Mode == "Q" || s.String == 2 && s.Nth == 1 {
			return 500
		}
		return 501
	}
	onBench(t, jigtest.Config{Level: level}, func(b *bench) {
		b.must(capture.Options{Takes: 1, Quiet: 1})
		rows := b.readings()
		if good(rows, "s001", "P", 1) != 1 || good(rows, "s001", "P", 2) != 2 {
			t.Error("expected one take of string 1 and two of string 2")
		}
		i := slices.IndexFunc(rows, func(r record.Reading) bool { return r.String == 2 && r.Mode == "P" })
		if rows[i].Note != "not above the quiet level: carries no information" || rows[i+1].Note != "" {
			t.Errorf("notes %q and %q", rows[i].Note, rows[i+1].Note)
		}
	})
}

func TestGivesUpOnAString(t *testing.T) {
	clipping := flags{}
	for nth := 1; nth <= 6; nth++ {
		clipping[at(2, "P", nth)] = jigtest.Clipped
	}
	clipping[at(2, "P", 3)] = 0
	onBench(t, jigtest.Config{Flags: clipping}, func(b *bench) {
		opt := capture.Options{Takes: 2, Quiet: 1, MaxPlucks: 6}
		res, err := b.run(opt)
		const want = `session s001 is not complete: string 2: too few good takes after 6 made: 5 clipped; ` +
			`string 2: 1 of 2 good takes, quiet level of string 3: 0 of 1 good takes, string 3: 0 of 2 good takes`
		if err == nil || err.Error() != want {
			t.Errorf("got %v\nexpected %s", err, want)
		}
		if res.Complete || res.Kept != 10 || len(b.readings()) != 10 {
			t.Errorf("kept %d, in the record are %d, expected 10", res.Kept, len(b.readings()))
		}
		again := b.must(opt) // by now the gain has been turned down
		if !again.Resumed || !again.Complete || again.Session != "s001" || again.Kept != 4 {
			t.Errorf("resumed: %+v", again)
		}
		b.wholeRecord()
	})
}

func TestLostTakesAreMadeAgain(t *testing.T) {
	cfg := jigtest.Config{AtReading: map[int]jigtest.Mishap{3: {Lose: true, Forget: true}}}
	onBench(t, cfg, func(b *bench) {
		res := b.must(capture.Options{Takes: 3, Quiet: 1})
		if res.Lost != 1 || !res.Complete || res.Kept != 12 || res.Tallies[1].Refused["lost"] != 1 {
			t.Errorf("%+v", res)
		}
		b.wholeRecord(3)
	})
}

func TestGoesOnAfterAJam(t *testing.T) {
	onBench(t, jigtest.Config{AtReading: map[int]jigtest.Mishap{3: {Jam: true}}}, func(b *bench) {
		res := b.must(capture.Options{Takes: 3, Quiet: 1})
		if !res.Complete || res.Tallies[1].Refused["stopped by a mechanical fault"] != 1 {
			t.Errorf("%+v", res)
		}
		b.wholeRecord()
	})
}

// script is a jig's conversation that fails in the way it is told to.
type script struct {
	capture.Conn
	do func(cmd jig.Command) error // nil: as the jig does
}

// unrecovering is a conversation in which fetching the tail fails.
type unrecovering struct {
	capture.Conn
	err error
}

func (u unrecovering) Recover(context.Context, uint32, uint32, jig.Sink) ([]uint32, error) {
	return []uint32{3}, u.err
}

func (s *script) Do(ctx context.Context, cmd jig.Command, sink jig.Sink) (jig.Outcome, error) {
	if err := s.do(cmd); err != nil {
		return jig.Outcome{}, err
	}
	return s.Conn.Do(ctx, cmd, sink)
}

func TestAJamThatLastsIsAnError(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		jammed := &script{b.conn, func(cmd jig.Command) error {
			if cmd.Verb == jig.VerbPluck {
				return &jig.CommandError{Command: cmd, Code: jig.Mechanical, Text: "arm stuck"}
			}
			return nil
		}}
		_, err := b.runWith(b.t.Context(), jammed, capture.Options{Takes: 2, Quiet: 1})
		const want = "string 1: too few good takes after 11 made: 11 stopped by a mechanical fault"
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, expected %q", err, want)
		}
	})
}

func TestARefusalIsAnError(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		refusal := &jig.CommandError{Code: jig.NotAvailable, Text: "no exciter"}
		_, err := b.runWith(b.t.Context(), &script{b.conn, func(jig.Command) error { return refusal }}, capture.Options{})
		var stopped *capture.StoppedError
		if !errors.As(err, &stopped) || !errors.Is(err, refusal) || stopped.Session != "s001" {
			t.Errorf("got %v", err)
		}
	})
}

func TestNeverMoreThan64AtOnce(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		var counts []int
		spy := &script{b.conn, func(cmd jig.Command) error {
			if cmd.Verb == jig.VerbPluck && cmd.String == 1 {
				counts = append(counts, cmd.Count)
			}
			return nil
		}}
		if _, err := b.runWith(b.t.Context(), spy, capture.Options{Takes: 150, Quiet: 1}); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(counts, []int{64, 64, 22}) {
			t.Errorf("asked for %v takes at once", counts)
		}
	})
}

func TestNeverMoreThanTheBound(t *testing.T) {
	always := flags{}
	for nth := range 20 {
		always[at(1, "P", nth)] = jigtest.Clipped
	}
	onBench(t, jigtest.Config{Flags: always}, func(b *bench) {
		_, err := b.run(capture.Options{Takes: 4, Quiet: 1, MaxPlucks: 10})
		if err == nil || !strings.Contains(err.Error(), "after 10 made: 10 clipped;") || len(b.jig.Log()) != 11 {
			t.Errorf("%d readings made, %v", len(b.jig.Log()), err)
		}
	})
}

// echo is a conversation that hands every reading on twice.
type echo struct{ capture.Conn }

func (e echo) Do(ctx context.Context, cmd jig.Command, s jig.Sink) (jig.Outcome, error) {
	return e.Conn.Do(ctx, cmd, jig.Sink{
		Reading: func(r jig.Reading) error { return errors.Join(s.Reading(r), s.Reading(r)) },
		Field:   func(f jig.Field) error { return errors.Join(s.Field(f), s.Field(f)) },
	})
}

func TestAReadingThatComesTwiceIsKeptOnce(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		res, err := b.runWith(b.t.Context(), echo{b.conn}, capture.Options{Takes: 2, Quiet: 1})
		if err != nil || res.Kept != 9 {
			t.Errorf("%+v, %v", res, err)
		}
		b.wholeRecord()
		if _, err := b.runWith(b.t.Context(), echo{b.conn}, capture.Options{Takes: 2, FieldPositions: []int{2}}); err != nil {
			t.Fatal(err)
		}
		if n := len(b.fields()); n != 2 {
			t.Errorf("%d field readings, expected 2", n)
		}
	})
}

func TestProgress(t *testing.T) {
	onBench(t, jigtest.Config{Flags: flags{at(1, "P", 1): jigtest.Clipped}}, func(b *bench) {
		var got []string
		b.must(capture.Options{Takes: 1, Quiet: 1, Progress: func(p capture.Progress) {
			if p.Number == 1 {
				got = append(got, fmt.Sprint(p.Session, p.Mode, p.Good, p.Wanted, p.Status))
			}
			if kept := strings.Count(b.file(record.ReadingsFile), "\n") - 1; kept < 1 {
				t.Error("told before the row was in the file")
			}
		}})
		want := []string{"s001Q1 1ok", "s001P0 1clipped", "s001P1 1ok"}
		for i := range got {
			got[i] = strings.ReplaceAll(got[i], " ", "")
			want[i] = strings.ReplaceAll(want[i], " ", "")
		}
		if !slices.Equal(got, want) {
			t.Errorf("%q, expected %q", got, want)
		}
	})
}

func TestStopsWhenAskedAndResumes(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		ctx, cancel := context.WithCancel(b.t.Context())
		defer cancel()
		n := 0
		opt := capture.Options{Takes: 4, Quiet: 1, Progress: func(capture.Progress) {
			if n++; n == 7 {
				cancel()
			}
		}}
		_, err := b.runWith(ctx, b.conn, opt)
		const want = "session s001 is not complete: stopped; string 2: 1 of 4 good takes, quiet level of string 3: 0 of 1 good takes, string 3: 0 of 4 good takes"
		if !errors.Is(err, context.Canceled) || err.Error() != want {
			t.Errorf("got %v\nexpected %s", err, want)
		}
		b.replug()
		res := b.must(opt)
		if !res.Resumed || res.Session != "s001" {
			t.Errorf("%+v", res)
		}
		b.wholeRecord()
	})
}

func TestFinishesTheTakeWhenAskedTo(t *testing.T) {
	for _, ask := range []time.Duration{0, 500 * time.Millisecond, 1500 * time.Millisecond, 6500 * time.Millisecond} {
		onBench(t, jigtest.Config{TakeTime: time.Second}, func(b *bench) {
			stop := make(chan struct{})
			asked, after := false, 0
			time.AfterFunc(ask, func() { asked = true; close(stop) })
			opt := capture.Options{Takes: 4, Quiet: 1, Stop: stop, Progress: func(capture.Progress) {
				if asked {
					after++
				}
			}}
			if ask == 0 {
				synctest.Wait()
			}
			res, err := b.run(opt)
			var stopped *capture.StoppedError
			if !errors.Is(err, capture.ErrStopped) || !errors.As(err, &stopped) || len(stopped.Missing) == 0 ||
				!strings.Contains(err.Error(), "not complete: stopped; "+stopped.Missing[0].String()) {
				t.Errorf("asked after %v: got %v", ask, err)
			}
			if one := min(1, int(ask)); after != one || res.Kept != len(b.readings()) {
				t.Errorf("asked after %v: %d takes kept since, expected %d; kept %d", ask, after, one, res.Kept)
			}
			b.replug()
			opt.Stop = nil
			if res := b.must(opt); !res.Complete || !res.Resumed && ask > 0 {
				t.Errorf("%+v", res)
			}
			b.wholeRecord()
		})
	}
}

// A wish to stop that comes with the last take finds the capture complete.
func TestAskedToStopTooLate(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		stop, n := make(chan struct{}), 0
		b.must(capture.Options{Takes: 1, Quiet: 1, Stop: stop, Progress: func(capture.Progress) {
			if n++; n == 6 {
				close(stop)
			}
		}})
	})
}

func TestACompleteCaptureAddsNothing(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		opt := capture.Options{Takes: 2, Quiet: 1}
		b.must(opt)
		before := b.file(record.ReadingsFile) + b.file(record.SessionsFile)
		b.replug()
		opt.Mount = mount()
		opt.Mount.File = "elsewhere.toml"
		opt.Mount.Text = append([]byte("# another comment\n"), opt.Mount.Text...)
		res := b.must(opt)
		if !res.Already || !res.Complete || !res.Resumed || res.Kept != 0 || res.Session != "s001" {
			t.Errorf("%+v", res)
		}
		if after := b.file(record.ReadingsFile) + b.file(record.SessionsFile); after != before {
			t.Error("the record changed")
		}
		opt.Takes = 3
		if res := b.must(opt); res.Already || res.Session != "s001" || res.Kept != 3 {
			t.Errorf("one more take wanted: %+v", res)
		}
	})
}

func TestWhatMakesAnotherSession(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		one := capture.Options{Takes: 1, Quiet: 1}
		for i, change := range []func(*capture.Options){
			func(*capture.Options) {},
			func(o *capture.Options) { o.Purpose = record.ForRepeat },
			func(o *capture.Options) { o.Purpose, o.Again = record.ForRepeat, true },
			func(o *capture.Options) { o.Mount = edited("1.9", "1.95") },
			func(o *capture.Options) { o.Mount = edited("0.508", "0.510") },
			func(o *capture.Options) { o.FieldPositions = []int{2} },
		} {
			opt := one
			change(&opt)
			if res, want := b.must(opt), fmt.Sprintf("s%03d", i+1); res.Session != want || res.Already {
				t.Errorf("capture %d is session %s, expected %s", i, res.Session, want)
			}
		}
		again := one
		again.Purpose = record.ForRepeat
		if res := b.must(again); res.Session != "s003" || !res.Already {
			t.Errorf("expected the latest of the two, got %+v", res)
		}
	})
}

func TestSessionIDsGoOnFromTheRecord(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		sample, err := os.ReadFile("../testdata/sample-shop/readings.csv")
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(b.dir, record.ReadingsFile), sample, 0o644); err != nil {
			t.Fatal(err)
		}
		if res := b.must(capture.Options{Takes: 1, Quiet: 1}); res.Session != "s011" {
			t.Errorf("session %s, expected s011, as the sample ends with s010", res.Session)
		}
		if !strings.HasPrefix(b.file(record.ReadingsFile), strings.ReplaceAll(string(sample), "\r\n", "\n")) {
			t.Error("what stood in the record has changed")
		}
	})
}

func TestTheMountIsKept(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		b.must(capture.Options{Takes: 1, Quiet: 1})
		copies, err := filepath.Glob(filepath.Join(b.dir, "mounts", "T-004-????????.toml"))
		if err != nil || len(copies) != 1 {
			t.Fatalf("copies %q, %v", copies, err)
		}
		text, err := os.ReadFile(copies[0])
		if err != nil || string(text) != mountText {
			t.Errorf("the copy is %q, %v", text, err)
		}
		if !strings.Contains(b.file(record.SessionsFile), ",T-004,"+filepath.Base(copies[0])+",\n") {
			t.Errorf("sessions.csv does not name the copy:\n%s", b.file(record.SessionsFile))
		}
	})
}

func TestADrivenJigIsDrivenAtThePitch(t *testing.T) {
	onBench(t, jigtest.Config{Excite: "drive"}, func(b *bench) {
		var freqs []int64
		spy := &script{b.conn, func(cmd jig.Command) error {
			if cmd.Verb == jig.VerbDrive {
				freqs = append(freqs, cmd.FreqMHz)
			}
			return nil
		}}
		if _, err := b.runWith(b.t.Context(), spy, capture.Options{Takes: 1, Quiet: 1}); err != nil {
			t.Fatal(err)
		}
		// E4, B3 and G3 in equal temperament: the usual table of pitches, in mHz.
		if want := []int64{329628, 246942, 195998}; !slices.Equal(freqs, want) {
			t.Errorf("driven at %d mHz, expected %d", freqs, want)
		}
		if rows := b.readings(); good(rows, "s001", "D", 3) != 1 || rows[1].Excite != "drive" {
			t.Errorf("%+v", rows)
		}
	})
}

func TestSetupErrors(t *testing.T) {
	tests := []struct {
		name string
		cfg  jigtest.Config
		opt  capture.Options
		want string
	}{
		{"too few strings", jigtest.Config{Strings: 2}, capture.Options{},
			`mounts/T-004.toml: expected at most the 2 strings of jig "test-jig", got 3`},
		{"no note", jigtest.Config{Excite: "drive"}, capture.Options{Mount: edited(`note = "B3"`, "")},
			`mounts/T-004.toml: string 2: its note, for the jig drives strings at their pitch: expected a note such as "E4" or "F#3", got ""`},
		{"loose magnets under the plectrum", jigtest.Config{}, capture.Options{Mount: parseMount(looseText)},
			`mounts/T-004.toml: expected a pickup under strings, got loose magnets: these have field readings only`},
		{"no probe gap", jigtest.Config{}, capture.Options{Mount: edited("probe_gap_mm = 0.5", ""), FieldPositions: []int{1}},
			`mounts/T-004.toml: probe_gap_mm: expected for field readings, got none`},
		{"position beyond the strings", jigtest.Config{}, capture.Options{FieldPositions: []int{4}},
			`mounts/T-004.toml: position: expected 1 to 3, as there are 3 strings, got 4`},
		{"position beyond the magnets", jigtest.Config{}, capture.Options{Mount: parseMount(looseText), FieldPositions: []int{1, 3}},
			`mounts/T-004.toml: position: expected 1 to 2, as there are 2 magnets, got 3`},
		{"position twice", jigtest.Config{}, capture.Options{FieldPositions: []int{1, 1}},
			`mounts/T-004.toml: position: expected each once, got 1 twice`},
		{"purpose", jigtest.Config{}, capture.Options{Purpose: "fun"},
			`purpose: expected one of [model batch check repeat], got "fun"`},
		{"takes", jigtest.Config{}, capture.Options{Takes: -1}, `takes: expected a number from 1, got -1`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			onBench(t, tt.cfg, func(b *bench) {
				_, err := b.run(tt.opt)
				var setup *capture.SetupError
				if !errors.As(err, &setup) || err.Error() != tt.want {
					t.Errorf("got %v\nexpected %s", err, tt.want)
				}
				if len(b.jig.Log()) > 0 || b.file(record.SessionsFile) != "" {
					t.Error("something was done")
				}
			})
		})
	}
}

func TestFieldsOfAPickup(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		opt := capture.Options{Takes: 2, FieldPositions: []int{3, 1}}
		res := b.must(opt)
		if !res.Complete || res.Kept != 4 {
			t.Errorf("%+v", res)
		}
		var got []string
		for _, f := range b.fields() {
			got = append(got, fmt.Sprint(f.Session, " ", f.Pickup, " ", f.String, " ", f.Position, " ", f.Magnet, " ", f.Take, " ", f.Field, " ", f.ProbeGap, " ", f.Status))
		}
		want := []string{ // levels by jigtest.Field
			"s001 T-004 3 3 M-03/40 1 50.91 0.5 ok", "s001 T-004 3 3 M-03/40 2 50.92 0.5 ok",
			"s001 T-004 1 1 M-03/11 1 50.31 0.5 ok", "s001 T-004 1 1 M-03/11 2 50.32 0.5 ok",
		}
		if !slices.Equal(got, want) {
			t.Errorf("got\n%s\nexpected\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		opt.FieldPositions = []int{1, 2, 3}
		if res := b.must(opt); !res.Resumed || res.Kept != 2 {
			t.Errorf("one more position: %+v", res)
		}
	})
}

func TestFieldsOfLooseMagnets(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		b.must(capture.Options{Mount: parseMount(looseText), FieldPositions: []int{1, 2}, Purpose: record.ForBatch})
		rows := b.fields()
		if len(rows) != 6 {
			t.Fatalf("%d rows, expected 3 a position", len(rows))
		}
		f := rows[5]
		if f.Magnet != "M-03/02" || f.Batch != "M-03" || f.Pickup != "" || f.String != 0 || f.Field >= 0 {
			t.Errorf("%+v", f)
		}
		if !strings.Contains(b.file(record.SessionsFile), ",batch,fields,test-jig,") {
			t.Errorf("sessions.csv:\n%s", b.file(record.SessionsFile))
		}
	})
}

func TestAJigWithoutAProbe(t *testing.T) {
	onBench(t, jigtest.Config{NoProbe: true}, func(b *bench) {
		_, err := b.run(capture.Options{FieldPositions: []int{1}})
		var refused *jig.CommandError
		if !errors.As(err, &refused) || refused.Code != jig.NotAvailable {
			t.Errorf("got %v", err)
		}
	})
}

// Who captures is named once, and remembered by the shop until another is named.
func TestOperatorIsRemembered(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		for i, c := range []struct{ named, want string }{{"", ""}, {"Bo", "Bo"}, {"", "Bo"}, {"Ida", "Ida"}, {capture.Nobody, ""}, {"", ""}} {
			res := b.must(capture.Options{Takes: 1, Quiet: 1, Again: true, Operator: c.named})
			holds, err := record.HoldsIn(b.dir)
			if err != nil {
				b.t.Fatal(err)
			}
			if got := holds.Operators()[res.Session]; got != c.want || res.Operator != c.want {
				t.Errorf("capture %d: got %q and %q, want %q", i+1, got, res.Operator, c.want)
			}
		}
	})
	onBench(t, jigtest.Config{}, func(b *bench) {
		if _, err := b.run(capture.Options{Takes: 1, Operator: "Bo\nIda"}); err == nil || !strings.Contains(err.Error(), "operator: expected a name on one line") {
			t.Errorf("two lines: %v", err)
		}
	})
}

// A record of before a column existed cannot say what a pickup with a blade is. That is
// said before anything is plucked, filed or held for the session.
func TestARecordThatLacksColumnsIsToldBeforePlucking(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		b.must(capture.Options{Takes: 1, Quiet: 1})
		b.rewrite(func(lines []string) []string {
			for i := range lines {
				cells := strings.Split(strings.TrimRight(lines[i], "\r\n"), ",")
				lines[i] = strings.Join(cells[:len(cells)-3], ",") + "\r\n"
			}
			return lines
		})
		readings, sessions, made := b.file(record.ReadingsFile), b.file(record.SessionsFile), len(b.jig.Log())
		m := mount()
		m.Pickup, m.Under, m.Second = "two", profiles.UnderBlade, &profiles.SecondRow{PoleHeights: m.PoleHeights, Gain: 0.8}
		_, err := b.run(capture.Options{Takes: 1, Quiet: 1, Mount: m})
		var lacks *record.ColumnError
		if !errors.As(err, &lacks) || !slices.Equal(lacks.Columns, []string{"under", "pole_height_2_mm", "coil_2_gain"}) {
			t.Errorf("got %v", err)
		}
		if b.file(record.ReadingsFile) != readings || b.file(record.SessionsFile) != sessions || len(b.jig.Log()) != made {
			t.Error("something was done")
		}
	})
}
