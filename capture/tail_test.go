package capture_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/jig/jigtest"
)

// untilProgress cuts a capture short, as a crash does, once n rows are kept,
// and lets the jig make more behind its back.
func (b *bench) untilProgress(n int, opt capture.Options, then ...jig.Command) {
	b.t.Helper()
	ctx, cancel := context.WithCancel(b.t.Context())
	defer cancel()
	opt.Progress = func(capture.Progress) {
		if n--; n == 0 {
			cancel()
		}
	}
	if _, err := b.runWith(ctx, b.conn, opt); !errors.Is(err, context.Canceled) {
		b.t.Fatalf("expected the capture to be cut short, got %v", err)
	}
	for _, cmd := range then {
		if _, err := b.conn.Do(b.t.Context(), cmd, jig.Sink{}); err != nil {
			b.t.Fatal(err)
		}
	}
	b.replug()
}

func TestTheTailIsFetched(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		opt := capture.Options{Takes: 4, Quiet: 2}
		b.untilProgress(4, opt, jig.PluckCommand(1, 1), jig.QuietCommand(2, 2), jig.PluckCommand(2, 3))
		res := b.must(opt)
		if !res.Resumed || res.Recovered < 6 || res.Stray != 0 {
			t.Errorf("%+v", res)
		}
		b.wholeRecord()
		for _, r := range b.readings() {
			if r.Session != "s001" || r.Pickup != "T-004" || r.Mode == "P" && !(r.Quiet > 0) {
				t.Errorf("line %d: %+v", r.Line, r)
			}
		}
	})
}

func TestFetchingTheTailFails(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		opt := capture.Options{Takes: 2, Quiet: 1}
		b.untilProgress(2, opt, jig.PluckCommand(1, 1))
		unplugged := &jig.PortError{Port: "test port", Err: jig.ErrUnplugged}
		if _, err := b.runWith(b.t.Context(), unrecovering{b.conn, unplugged}, opt); !errors.Is(err, jig.ErrUnplugged) {
			t.Errorf("got %v", err)
		}
		// A restart is for the next command to notice.
		res, err := b.runWith(b.t.Context(), unrecovering{b.conn, &jig.RestartError{}}, opt)
		if err != nil || !res.Complete || res.Lost != 1 {
			t.Errorf("%+v, %v", res, err)
		}
	})
}

func TestTheTailMayCompleteACapture(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		opt := capture.Options{Takes: 1, Quiet: 1}
		b.untilProgress(5, opt, jig.PluckCommand(3, 1))
		made := len(b.jig.Log())
		res := b.must(opt)
		if !res.Complete || res.Already || len(b.jig.Log()) != made {
			t.Errorf("%+v", res)
		}
	})
}

func TestATailOfAnotherMountGetsNoCell(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		one := capture.Options{Takes: 2, Quiet: 1}
		b.untilProgress(2, one, jig.PluckCommand(1, 2), jig.FieldCommand(2, 1))
		made := len(b.jig.Log())
		two := one
		two.Mount = edited("T-004", "T-005")
		res := b.must(two)
		if res.Session != "s002" || res.Stray == 0 || res.Recovered != 0 {
			t.Errorf("%+v", res)
		}
		rows := b.readings()
		stray := 0
		for _, r := range rows[:made-1] {
			if r.Note == "" && r.Session == "s001" {
				continue
			}
			stray++
			if r.Note != "left over from session s001" || r.Session != "" || r.Pickup != "" ||
				r.Core == r.Core || r.PoleHeight == r.PoleHeight || !r.HasSeq || !(r.RMS > 0) || r.String != 1 {
				t.Errorf("line %d: %+v", r.Line, r)
			}
		}
		if stray != res.Stray-1 {
			t.Errorf("%d stray readings, expected %d", stray, res.Stray-1)
		}
		if f := b.fields()[0]; f.Note != "left over from session s001" || f.Pickup != "" || f.Position != 2 || f.Field >= 0 {
			t.Errorf("%+v", f)
		}
		// The first capture is as it was: what was filed without it stays out.
		if res := b.must(one); !res.Resumed || res.Stray != 0 || good(b.readings(), "s001", "P", 1) != 2 {
			t.Errorf("%+v", res)
		}
	})
}

// A jig may be taken to another shop, and back, without being switched off.
func TestAnotherShopsReadings(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		opt := capture.Options{Takes: 1, Quiet: 1}
		b.must(opt)
		if _, err := b.conn.Do(b.t.Context(), jig.PluckCommand(1, 2), jig.Sink{}); err != nil {
			t.Fatal(err)
		}
		b.replug()
		opt.Takes = 2
		res := b.must(opt)
		if res.Session != "s001" || res.Stray != 2 || res.Recovered != 0 || good(b.readings(), "s001", "P", 1) != 2 {
			t.Errorf("%+v", res)
		}
		for _, r := range b.readings()[6:8] {
			if r.Session != "" || r.Pickup != "" || r.Note != "not commanded by this shop's captures" {
				t.Errorf("line %d: %+v", r.Line, r)
			}
		}
	})
}

func TestATailThatNobodyCommanded(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		b.must(capture.Options{Takes: 1, Quiet: 1})
		// The power-up is known from the record alone, and one row is not.
		if err := os.Remove(filepath.Join(b.dir, record.SessionsFile)); err != nil {
			t.Fatal(err)
		}
		if _, err := b.conn.Do(b.t.Context(), jig.PluckCommand(2, 1), jig.Sink{}); err != nil {
			t.Fatal(err)
		}
		b.replug()
		res := b.must(capture.Options{Takes: 1, Quiet: 1})
		if res.Session != "s002" || res.Stray != 1 {
			t.Errorf("%+v", res)
		}
		if r := b.readings()[6]; r.Note != "not commanded by this shop's captures" || r.Session != "" {
			t.Errorf("%+v", r)
		}
	})
}

func TestAnUnknownPowerUpStartsAtItsEnd(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		if _, err := b.conn.Do(b.t.Context(), jig.PluckCommand(2, 5), jig.Sink{}); err != nil {
			t.Fatal(err)
		}
		b.replug()
		if res := b.must(capture.Options{Takes: 1, Quiet: 1}); res.Kept != 6 || res.Stray != 0 {
			t.Errorf("%+v", res)
		}
		if !strings.Contains(b.file(record.SessionsFile), ",test-jig,A1B2C3D4,5,T-004,") {
			t.Errorf("sessions.csv:\n%s", b.file(record.SessionsFile))
		}
		b.replug()
		if res := b.must(capture.Options{Takes: 2, Quiet: 1}); res.Kept != 3 || res.Stray != 0 {
			t.Errorf("what came before the first capture is none of the second's affair: %+v", res)
		}
	})
}

func TestTwoCapturesInOneConversation(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		b.must(capture.Options{Takes: 1, Quiet: 1})
		b.must(capture.Options{Takes: 1, Quiet: 1, Again: true})
		b.wholeRecord()
		if !strings.Contains(b.file(record.SessionsFile), ",s002,model,readings,test-jig,A1B2C3D4,6,") {
			t.Errorf("sessions.csv:\n%s", b.file(record.SessionsFile))
		}
	})
}

func TestTheTailGoesAcrossTheWrap(t *testing.T) {
	onBench(t, jigtest.Config{FirstSeq: 1<<32 - 3}, func(b *bench) {
		opt := capture.Options{Takes: 4, Quiet: 1}
		b.untilProgress(2, opt, jig.PluckCommand(1, 3))
		b.must(opt)
		b.wholeRecord()
	})
}

func TestARestartOfTheJig(t *testing.T) {
	for nth := 1; nth <= 9; nth++ {
		cfg := jigtest.Config{AtReading: map[int]jigtest.Mishap{nth: {Restart: true}}}
		onBench(t, cfg, func(b *bench) {
			res := b.must(capture.Options{Takes: 2, Quiet: 1})
			if res.Restarts != 1 || !res.Complete || res.Stray != 0 {
				t.Errorf("after reading %d: %+v", nth, res)
			}
			b.wholeRecord()
			lines := strings.Split(strings.TrimSpace(b.file(record.SessionsFile)), "\n")
			if len(lines) != 4 || !strings.Contains(lines[2], ",0,T-004,") || !strings.Contains(lines[2], ",s001,") {
				t.Errorf("after reading %d: sessions.csv\n%s", nth, strings.Join(lines, "\n"))
			}
		})
	}
}

// A jig that restarts at every reading is given up like any other that gives
// too few good takes.
func TestAJigThatKeepsRestarting(t *testing.T) {
	mishaps := map[int]jigtest.Mishap{}
	for nth := range 40 {
		mishaps[nth+1] = jigtest.Mishap{Cut: true}
	}
	onBench(t, jigtest.Config{AtReading: mishaps}, func(b *bench) {
		res, err := b.run(capture.Options{Takes: 1, Quiet: 1})
		const want = "quiet level of string 1: too few good takes after 8 made: 8 cut short by a restart of the jig"
		if err == nil || !strings.Contains(err.Error(), want) || res.Restarts != 8 {
			t.Errorf("got %v, expected %q", err, want)
		}
	})
}

func TestThePlugIsPulled(t *testing.T) {
	cfg := jigtest.Config{AtReading: map[int]jigtest.Mishap{5: {HangUp: true}}}
	onBench(t, cfg, func(b *bench) {
		opt := capture.Options{Takes: 3, Quiet: 1}
		silent, err := b.run(opt)
		var port *jig.PortError
		if !errors.As(err, &port) || silent.Complete {
			t.Errorf("got %v", err)
		}
		synctest.Wait()
		b.replug()
		if res := b.must(opt); !res.Resumed || !res.Complete {
			t.Errorf("%+v", res)
		}
		b.wholeRecord()
	})
}

func TestRowsThatStandTwiceCountOnce(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		opt := capture.Options{Takes: 2, Quiet: 1}
		b.must(opt)
		b.rewrite(func(lines []string) []string { // leave the last take out, put the one before it twice
			return append(lines[:9], lines[8])
		})
		b.replug()
		res := b.must(opt)
		if res.Already || res.Kept != 1 || res.Recovered != 1 {
			t.Errorf("%+v", res)
		}
	})
}

// A row that takes a reading back need not name its session.
func TestWhatIsTakenBackDoesNotCount(t *testing.T) {
	for _, session := range []string{",s001,", ",,"} {
		onBench(t, jigtest.Config{}, func(b *bench) {
			opt := capture.Options{Takes: 2, Quiet: 1}
			b.must(opt)
			b.rewrite(func(lines []string) []string {
				return append(lines, strings.NewReplacer(",ok,", ",retracted,", ",s001,", session).Replace(lines[5]))
			})
			res := b.must(opt)
			if res.Already || res.Kept != 1 {
				t.Errorf("%+v", res)
			}
			if rows := b.readings(); rows[len(rows)-1].String != 2 {
				t.Errorf("%+v", rows[len(rows)-1])
			}
		})
	}
}
