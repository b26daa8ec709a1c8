package jig

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

func TestDo(t *testing.T) {
	onConn(t, func(p *peer) {
		cmd := p.want(VerbPluck)
		if cmd.String != 1 || cmd.Count != 2 {
			p.t.Errorf("the host sent %s", cmd.words())
		}
		p.reading(1, 1)
		p.reading(2, 1)
		p.done(cmd)

		cmd = p.want(VerbField)
		p.say(Field{Boot: boot1, Seq: 3, Position: 4, Take: 1, FieldUT: -50})
		p.done(cmd)

		cmd = p.want(VerbQuiet)
		p.say(Reading{Boot: boot1, Seq: 4, String: 2, Take: 1, Mode: Quiet})
		p.done(cmd)

		cmd = p.want(VerbDrive)
		if cmd.FreqMHz != 110000 {
			p.t.Errorf("the host sent %s", cmd.words())
		}
		p.say(Reading{Boot: boot1, Seq: 5, String: 2, Take: 1, Mode: Driven})
		p.done(cmd)
	}, func(t *testing.T, c *Conn) {
		var r record
		o, err := pluck(t, c, &r, 2)
		went(t, o, err, 2, 0)
		for _, cmd := range []Command{FieldCommand(4, 1), QuietCommand(2, 1), DriveCommand(2, 110000, 1)} {
			o, err = c.Do(t.Context(), cmd, r.sink())
			went(t, o, err, 1, 0)
		}
		r.is(t, 1, 2, 3, 4, 5)
		if s := c.Stats(); s.Readings != 5 || s.Missing+s.Repeats+s.Again+s.Stray != 0 {
			t.Errorf("stats %+v", s)
		}
	})
}

func TestDoWithoutSink(t *testing.T) {
	onConn(t, func(p *peer) {
		cmd := p.want(VerbPluck)
		p.reading(1, 1)
		p.say(Field{Boot: boot1, Seq: 2, Position: 1, Take: 1})
		p.done(cmd)
	}, func(t *testing.T, c *Conn) {
		o, err := c.Do(t.Context(), PluckCommand(1, 1), Sink{})
		went(t, o, err, 1, 0)
	})
}

func TestDoRefusesWhatItCannotDo(t *testing.T) {
	onConn(t, func(p *peer) {}, func(t *testing.T, c *Conn) {
		for _, x := range []struct {
			cmd  Command
			want string
		}{
			{Command{Verb: VerbStop}, "verb: expected PLUCK, QUIET, DRIVE or FIELD, got STOP"},
			{PluckCommand(1, 0), "count: expected 1 to 200, got 0"},
			{PluckCommand(1, 201), "count: expected 1 to 200, got 201"},
		} {
			if _, err := c.Do(t.Context(), x.cmd, Sink{}); err == nil || err.Error() != x.want {
				t.Errorf("got %v, expected %s", err, x.want)
			}
		}
	})
}

// A gap is asked for while the command runs; its readings come later.
func TestGapWithinACommand(t *testing.T) {
	var events []string
	opt := Options{Event: func(e Event) { events = append(events, e.String()) }}
	onConnWith(t, 0, opt, func(p *peer) {
		cmd := p.want(VerbPluck)
		p.reading(1, 1)
		p.reading(4, 1)
		p.wantResend(2, 3, "", 3) // 2 is lost on the way once more
		p.reading(5, 1)
		p.reading(5, 1) // twice
		p.wantResend(2, 2, "", 2)
		p.done(cmd)
	}, func(t *testing.T, c *Conn) {
		var r record
		o, err := pluck(t, c, &r, 5)
		went(t, o, err, 5, 0)
		slices.Sort(r.seqs[2:]) // 3 and 5, and 2: the last two may cross
		r.is(t, 1, 4, 2, 3, 5)
		s := c.Stats()
		if s.Missing != 2 || s.Resends != 2 || s.Repeats != 1 || s.Lost+s.Stray != 0 {
			t.Errorf("stats %+v", s)
		}
		if !slices.Contains(events, "readings 2 to 3 are asked for again") {
			t.Errorf("events %q", events)
		}
	})
}

// The last readings of a command are lost: only the status line tells.
func TestGapAtTheEndOfACommand(t *testing.T) {
	onConn(t, func(p *peer) {
		cmd := p.want(VerbPluck)
		p.reading(1, 1)
		p.status(1)
		p.done(cmd)
		p.status(3)
		p.wantResend(2, 3, "", 2, 3)
	}, func(t *testing.T, c *Conn) {
		var r record
		o, err := pluck(t, c, &r, 3)
		went(t, o, err, 3, 0)
		r.is(t, 1, 2, 3)
	})
}

// The last reading and the answer are lost: the status line shows that the
// takes are made, so that the answer is due, and neither is waited for long.
func TestAnswerIsDueAfterTheLastTake(t *testing.T) {
	onConn(t, func(p *peer) {
		cmd := p.want(VerbPluck)
		p.reading(1, 1)
		p.status(2)
		start := time.Now()
		p.want(VerbResend) // lost
		p.done(p.want(VerbPluck))
		p.wantResend(2, 2, "", 2)
		if d := time.Since(start); d > 3*time.Second {
			p.t.Errorf("the answers to %s took %v", cmd.words(), d)
		}
	}, func(t *testing.T, c *Conn) {
		o, err := pluck(t, c, &record{}, 2)
		went(t, o, err, 2, 0)
	})
}

// A jig that says a command is done and has made too few readings.
func TestFewerThanAskedFor(t *testing.T) {
	onConn(t, func(p *peer) {
		cmd := p.want(VerbPluck)
		p.reading(1, 1)
		p.done(cmd)
		p.done(cmd)
		p.status(1)
	}, func(t *testing.T, c *Conn) {
		var r record
		o, err := pluck(t, c, &r, 3)
		went(t, o, err, 1, 2)
		if s := c.Stats(); s.Stray != 1 {
			t.Errorf("stats %+v", s)
		}
	})
}

func TestGapThatIsGone(t *testing.T) {
	onConn(t, func(p *peer) {
		cmd := p.want(VerbPluck)
		p.reading(5, 1)
		p.wantResend(1, 4, "2 is gone", 3) // so 1 is gone too, and 4 was spoilt
		p.wantResend(4, 4, "", 4)
		p.done(cmd)
	}, func(t *testing.T, c *Conn) {
		var r record
		o, err := pluck(t, c, &r, 5)
		went(t, o, err, 3, 2)
		r.is(t, 5, 3, 4)
		if s := c.Stats(); s.Lost != 2 {
			t.Errorf("stats %+v", s)
		}
	})
}

// A gap that never gets filled is given up after so many tries, each with an
// id of its own.
func TestGapIsGivenUp(t *testing.T) {
	for _, text := range []string{"", "sorry", "9 is gone"} {
		onConnWith(t, 0, Options{Tries: 4}, func(p *peer) {
			cmd := p.want(VerbPluck)
			p.reading(2, 1)
			ids := map[uint32]bool{}
			for range 4 {
				ids[p.wantResend(1, 1, text).ID] = true
			}
			if len(ids) != 4 {
				p.t.Errorf("%d ids for 4 commands", len(ids))
			}
			p.done(cmd)
			p.status(2)
		}, func(t *testing.T, c *Conn) {
			var r record
			o, err := pluck(t, c, &r, 2)
			went(t, o, err, 1, 1)
			r.is(t, 2)
		})
	}
}

func TestJigWithoutResend(t *testing.T) {
	onConn(t, func(p *peer) {
		cmd := p.want(VerbPluck)
		p.reading(2, 1)
		p.fail(p.want(VerbResend), UnknownCommand, "RESEND?")
		p.done(cmd)
		p.status(2)
	}, func(t *testing.T, c *Conn) {
		var r record
		o, err := pluck(t, c, &r, 2)
		went(t, o, err, 1, 1)
	})
}

// A sequence number that jumps by a thousand million: what cannot be had is
// lost at once.
func TestAbsurdJump(t *testing.T) {
	onConnWith(t, 0, Options{Tries: 1}, func(p *peer) {
		cmd := p.want(VerbPluck)
		p.reading(1, 1)
		p.reading(1_000_000_000, 1)
		p.wantResend(1_000_000_000-window, 999_999_999, "")
		p.done(cmd)
	}, func(t *testing.T, c *Conn) {
		var r record
		o, err := pluck(t, c, &r, 2)
		went(t, o, err, 2, 0)
		r.is(t, 1, 1_000_000_000)
		if s := c.Stats(); s.Missing != 999_999_998 || s.Lost != 999_999_998 {
			t.Errorf("stats %+v", s)
		}
	})
}

// What was lost before a command is not counted against it.
func TestLossBeforeACommand(t *testing.T) {
	onConn(t, func(p *peer) {
		p.reading(1000, 1)
		cmd := p.want(VerbPluck)
		p.wantResend(1000-window, 999, "999 is gone")
		p.reading(1001, 1)
		p.fail(cmd, Mechanical, "pick is stuck")
		p.status(1001)
	}, func(t *testing.T, c *Conn) {
		synctest.Wait()
		var r record
		o, err := pluck(t, c, &r, 3)
		if o != (Outcome{Got: 1}) || err == nil {
			t.Errorf("got %+v, %v", o, err)
		}
		r.is(t, 1000, 1001)
	})
}

func TestSequenceWraps(t *testing.T) {
	onConnWith(t, 1<<32-2, Options{}, func(p *peer) {
		cmd := p.want(VerbPluck)
		p.reading(1<<32-1, 1)
		p.reading(1, 1)
		p.wantResend(0, 0, "", 0)
		p.done(cmd)
	}, func(t *testing.T, c *Conn) {
		var r record
		o, err := pluck(t, c, &r, 3)
		went(t, o, err, 3, 0)
		r.is(t, 1<<32-1, 1, 0)
	})
}

// The command line is lost, then the answer: always the same id.
func TestCommandIsSentAgain(t *testing.T) {
	onConn(t, func(p *peer) {
		p.beat()
		lost := p.want(VerbPluck)
		cmd := p.want(VerbPluck)
		p.reading(1, 1)
		p.setSeq(1)
		again := p.want(VerbPluck) // the answer was lost
		if lost.ID != cmd.ID || again.ID != cmd.ID {
			p.t.Errorf("ids %d, %d, %d", lost.ID, cmd.ID, again.ID)
		}
		p.done(again)
		p.done(again) // and one that comes late
		next := p.want(VerbPluck)
		if next.ID == cmd.ID {
			p.t.Errorf("id %d for two commands", next.ID)
		}
		p.reading(2, 1)
		p.done(next)
	}, func(t *testing.T, c *Conn) {
		var r record
		for range 2 {
			o, err := pluck(t, c, &r, 1)
			went(t, o, err, 1, 0)
		}
		r.is(t, 1, 2)
		if s := c.Stats(); s.Again != 2 || s.Stray != 1 {
			t.Errorf("stats %+v", s)
		}
	})
}

func TestBusy(t *testing.T) {
	onConn(t, func(p *peer) {
		p.beat()
		start := time.Now()
		for range 5 {
			p.fail(p.want(VerbPluck), Busy, "queue full")
		}
		cmd := p.want(VerbPluck)
		if d := time.Since(start); d < 5*time.Second || d > 7*time.Second {
			p.t.Errorf("five refusals took %v", d)
		}
		p.reading(2, 1)
		p.setSeq(2)
		p.fail(p.want(VerbResend), Busy, "queue full")
		p.wantResend(1, 1, "", 1)
		p.reading(3, 1)
		p.setSeq(3)
		p.done(cmd)
	}, func(t *testing.T, c *Conn) {
		var r record
		o, err := pluck(t, c, &r, 3)
		went(t, o, err, 3, 0)
		r.is(t, 2, 1, 3)
	})
}

func TestBusyForEver(t *testing.T) {
	onConn(t, func(p *peer) {
		p.beat()
		for c := range p.commands {
			if c.Verb == VerbPluck {
				p.fail(c, Busy, "queue full")
			}
		}
	}, func(t *testing.T, c *Conn) {
		_, err := pluck(t, c, &record{}, 2)
		var ce *CommandError
		if !errors.As(err, &ce) || ce.Code != Busy || err.Error() != "PLUCK,1,2: busy" {
			t.Errorf("got %v", err)
		}
	})
}

func TestCommandFails(t *testing.T) {
	for code, want := range map[Code]string{
		UnknownCommand: `PLUCK,1,3: unknown command: "so"`,
		BadArgument:    `PLUCK,1,3: bad argument: "so"`,
		NotAvailable:   `PLUCK,1,3: not available: "so"`,
		Mechanical:     `PLUCK,1,3: mechanical fault: "so"`,
		Stopped:        `PLUCK,1,3: stopped: "so"`,
		99:             `PLUCK,1,3: code 99: "so"`,
	} {
		onConn(t, func(p *peer) {
			p.fail(p.want(VerbPluck), code, "so")
			if code > NotAvailable { // else it made nothing, and that is that
				p.status(0)
			}
		}, func(t *testing.T, c *Conn) {
			o, err := pluck(t, c, &record{}, 3)
			var ce *CommandError
			if !errors.As(err, &ce) || ce.Code != code || err.Error() != want || o != (Outcome{}) {
				t.Errorf("got %+v, %v; expected %s", o, err, want)
			}
		})
	}
}

// What came before a mechanical fault stays, and what was lost of it is asked for.
func TestFaultAfterSomeTakes(t *testing.T) {
	onConn(t, func(p *peer) {
		cmd := p.want(VerbPluck)
		p.reading(1, 1)
		p.fail(cmd, Mechanical, "pick is stuck")
		p.status(3)
		p.wantResend(2, 3, "2 is gone", 3)
	}, func(t *testing.T, c *Conn) {
		var r record
		o, err := pluck(t, c, &r, 5)
		if o != (Outcome{Got: 2, Lost: 1}) {
			t.Errorf("outcome %+v", o)
		}
		var ce *CommandError
		if !errors.As(err, &ce) || ce.Text != "pick is stuck" {
			t.Errorf("got %v", err)
		}
		r.is(t, 1, 3)
	})
}

// Whichever line brings the new boot, the call ends with it. The command may
// have reached the jig again after the restart: what that made is not lost.
func TestRestart(t *testing.T) {
	id := bench
	id.Boot = boot2
	for _, first := range []liner{
		Status{Boot: boot2, Seq: 1}, Reading{Boot: boot2, Seq: 1, String: 1, Take: 1, Mode: Pluck},
		Field{Boot: boot2, Seq: 1, Position: 1, Take: 1}, id,
	} {
		onConn(t, func(p *peer) {
			cmd := p.want(VerbPluck)
			p.reading(1, 1)
			p.boot, p.seq = boot2, 2
			p.say(first)
			p.reading(2, 1)
			p.fail(cmd, Stopped, "")
			p.done(p.want(VerbStop)) // of the call that failed
			p.attach()
			p.wantResend(1, 2, "", 1, 2)
			cmd = p.want(VerbPluck)
			p.reading(3, 1)
			p.done(cmd)
		}, func(t *testing.T, c *Conn) {
			var r record
			o, err := pluck(t, c, &r, 3)
			var re *RestartError
			if !errors.As(err, &re) || *re != (RestartError{"test port", boot1, boot2}) || o.Got != 1 {
				t.Fatalf("got %+v, %v", o, err)
			}
			if want := `port "test port": jig restarted: boot was 11111111, is 22222222`; err.Error() != want {
				t.Errorf("got %v", err)
			}
			if err := c.Reattach(t.Context()); err != nil {
				t.Fatal(err)
			}
			if c.Ident().Boot != boot2 || c.Last() != 2 {
				t.Errorf("boot %s, last %d", c.Ident().Boot, c.Last())
			}
			if lost, err := c.Recover(t.Context(), 1, c.Last(), r.sink()); err != nil || lost != nil {
				t.Errorf("lost %v, %v", lost, err)
			}
			o, err = pluck(t, c, &r, 1)
			went(t, o, err, 1, 0)
			r.is(t, 1, 1, 2, 3)
			if s := c.Stats(); s.Restarts != 1 {
				t.Errorf("stats %+v", s)
			}
		})
	}
}

// Until Reattach every call says the same.
func TestRestartIsNotForgotten(t *testing.T) {
	onConn(t, func(p *peer) {
		p.boot = boot2
		p.beat()
	}, func(t *testing.T, c *Conn) {
		for range 2 {
			time.Sleep(2 * time.Second)
			var re *RestartError
			if _, err := pluck(t, c, &record{}, 1); !errors.As(err, &re) {
				t.Errorf("got %v", err)
			}
		}
	})
}

func TestOtherJig(t *testing.T) {
	other := bench
	other.Jig, other.Boot = "second", boot2
	const want = `port "test port": another jig is on the port: "second", and it was "bench"`
	onConn(t, func(p *peer) {
		p.want(VerbPluck)
		p.say(other)
		p.done(p.want(VerbStop)) // of the call that failed
		p.done(p.want(VerbStop)) // of Reattach
		p.want(VerbIdent)
		p.say(other)
	}, func(t *testing.T, c *Conn) {
		_, err := pluck(t, c, &record{}, 1)
		failed(t, err, ErrOtherJig)
		if err.Error() != want {
			t.Errorf("got %v", err)
		}
		failed(t, c.Reattach(t.Context()), ErrOtherJig)
	})
}

func TestSilenceWithinACommand(t *testing.T) {
	onConn(t, func(p *peer) {
		cmd := p.want(VerbPluck)
		p.reading(1, 1)
		if again := p.want(VerbPluck); again.ID != cmd.ID { // the prod
			p.t.Errorf("ids %d, %d", cmd.ID, again.ID)
		}
		p.want(VerbStop) // the last word
	}, func(t *testing.T, c *Conn) {
		start := time.Now()
		o, err := pluck(t, c, &record{}, 2)
		failed(t, err, ErrSilent)
		if d := time.Since(start); o.Got != 1 || d < 5*time.Second || d > 6*time.Second {
			t.Errorf("outcome %+v after %v", o, d)
		}
	})
}

// Each silence gets its prod: the first reading puts off the next attempt by
// 8 s, and so does the first prod.
func TestTwoSilencesWithinACommand(t *testing.T) {
	onConn(t, func(p *peer) {
		start := time.Now()
		cmd := p.want(VerbPluck)
		p.reading(1, 1)
		p.want(VerbPluck)
		time.Sleep(time.Second)
		p.status(1)
		p.want(VerbPluck)
		if d := time.Since(start); d > 8*time.Second {
			p.t.Errorf("the second prod came after %v", d)
		}
		p.reading(2, 1)
		p.done(cmd)
	}, func(t *testing.T, c *Conn) {
		o, err := pluck(t, c, &record{}, 2)
		went(t, o, err, 2, 0)
	})
}

// A jig may take its time, as long as it gets on.
func TestSlowJig(t *testing.T) {
	const slow = 40 * time.Second
	onConn(t, func(p *peer) {
		p.beat()
		cmd := p.want(VerbPluck)
		for seq := uint32(1); seq <= 3; seq++ {
			p.sleep(slow)
			p.reading(seq, 1)
			p.setSeq(seq)
		}
		p.sleep(slow)
		p.done(cmd)
	}, func(t *testing.T, c *Conn) {
		o, err := pluck(t, c, &record{}, 3)
		went(t, o, err, 3, 0)
	})
}

func TestSlowResend(t *testing.T) {
	onConnWith(t, 1, Options{Tries: 3}, func(p *peer) {
		p.beat()
		for range 3 {
			cmd := p.want(VerbResend)
			p.sleep(40 * time.Second)
			p.done(cmd)
		}
	}, func(t *testing.T, c *Conn) {
		lost, err := c.Recover(t.Context(), 1, 1, Sink{})
		if err != nil || !slices.Equal(lost, []uint32{1}) {
			t.Errorf("lost %v, %v", lost, err)
		}
	})
}

// The jig has answered and then says nothing more: IDENT wakes it.
func TestSilenceAfterACommand(t *testing.T) {
	onConn(t, func(p *peer) {
		p.done(p.want(VerbPluck))
		p.done(p.want(VerbIdent))
		p.status(0)
	}, func(t *testing.T, c *Conn) {
		o, err := pluck(t, c, &record{}, 1)
		went(t, o, err, 0, 1)
	})
}

func TestUnpluggedWithinACommand(t *testing.T) {
	onConn(t, func(p *peer) {
		p.want(VerbPluck)
		p.reading(1, 1)
		p.port.Close()
	}, func(t *testing.T, c *Conn) {
		var r record
		start := time.Now()
		o, err := pluck(t, c, &r, 2)
		failed(t, err, ErrUnplugged)
		if r.is(t, 1); o.Got != 1 {
			t.Errorf("outcome %+v", o)
		}
		if d := time.Since(start); d > 0 {
			t.Errorf("a last word to nobody took %v", d)
		}
	})
}

// The jig is alive and never answers.
func TestNoProgress(t *testing.T) {
	for _, c := range []struct {
		name, want string
		again      int
		script     func(*peer)
	}{
		{"command", "PLUCK,1,2: no progress for 1m0s", 9, func(p *peer) {}}, // after 1, 2, 4 and then every 8 s
		{"resend", "RESEND: no progress for 1m0s", 58, func(p *peer) { // every second; the status line took one

			p.setSeq(1)
			p.done(p.want(VerbPluck))
		}},
	} {
		onConn(t, func(p *peer) {
			p.beat()
			c.script(p)
		}, func(t *testing.T, conn *Conn) {
			_, err := pluck(t, conn, &record{}, 2)
			failed(t, err, ErrUnresponsive)
			if !strings.HasSuffix(err.Error(), c.want) {
				t.Errorf("%s: got %v", c.name, err)
			}
			if n := conn.Stats().Again; n != c.again {
				t.Errorf("%s: sent again %d times", c.name, n)
			}
		})
	}
}

// A call that is cancelled stops the jig; the next one makes sure of that, and
// does not take for its own what was still made.
func TestCancel(t *testing.T) {
	onConn(t, func(p *peer) {
		first := p.want(VerbPluck)
		p.reading(1, 1)
		p.want(VerbStop) // lost
		stop := p.want(VerbStop)
		p.reading(2, 1)
		p.fail(first, Stopped, "")
		p.done(stop)
		cmd := p.want(VerbPluck)
		p.reading(3, 1)
		p.done(cmd)
	}, func(t *testing.T, c *Conn) {
		var r record
		o, err := c.Do(later(t, 1500*time.Millisecond), PluckCommand(1, 9), r.sink())
		if err != context.Canceled || o.Got != 1 {
			t.Errorf("got %+v, %v", o, err)
		}
		o, err = pluck(t, c, &r, 1)
		went(t, o, err, 1, 0)
		r.is(t, 1, 2, 3)
	})
}

func TestCancelledBefore(t *testing.T) {
	onConn(t, func(p *peer) {}, func(t *testing.T, c *Conn) {
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		if _, err := c.Do(ctx, PluckCommand(1, 1), Sink{}); err != context.Canceled {
			t.Errorf("got %v", err)
		}
	})
}

func TestSinkFails(t *testing.T) {
	full := errors.New("disk is full")
	onConn(t, func(p *peer) {
		p.want(VerbPluck)
		p.reading(1, 1)
		p.reading(2, 1)
		p.want(VerbStop)
	}, func(t *testing.T, c *Conn) {
		n := 0
		_, err := c.Do(t.Context(), PluckCommand(1, 2), Sink{Reading: func(Reading) error { n++; return full }})
		if err != full || n != 1 {
			t.Errorf("got %v after %d readings", err, n)
		}
	})
}

func TestRecover(t *testing.T) {
	onConnWith(t, 3, Options{}, func(p *peer) {
		p.wantResend(1<<32-2, 3, "4294967295 is gone", 0, 2, 3) // 1 is lost on the way
		p.reading(4, 2)                                         // and one that is new
		p.wantResend(1, 1, "", 1)
	}, func(t *testing.T, c *Conn) {
		var r record
		lost, err := c.Recover(t.Context(), 1<<32-2, 99, r.sink())
		if err != nil || !slices.Equal(lost, []uint32{1<<32 - 2, 1<<32 - 1}) {
			t.Errorf("lost %v, %v", lost, err)
		}
		slices.Sort(r.seqs) // 4 and 1 may cross
		if len(r.seqs) == 4 {
			r.is(t, 0, 1, 2, 3) // 1 came before 4 was read
		} else {
			r.is(t, 0, 1, 2, 3, 4)
		}
	})
}

func TestRecoverRanges(t *testing.T) {
	onConnWith(t, 100_000, Options{Tries: 1}, func(p *peer) {
		for range reach / window {
			p.fail(p.want(VerbResend), NotAvailable, "1 is gone") // never what was asked for
		}
	}, func(t *testing.T, c *Conn) {
		for _, x := range [][2]uint32{{5, 4}, {100_001, 100_000}, {100_001, 100_005}, {9, 1}} {
			if lost, err := c.Recover(t.Context(), x[0], x[1], Sink{}); lost != nil || err != nil {
				t.Errorf("%d to %d: lost %v, %v", x[0], x[1], lost, err)
			}
		}
		const want = "range: expected fewer than 65536 readings, got 1 to 100000"
		if _, err := c.Recover(t.Context(), 1, 100_000, Sink{}); err == nil || err.Error() != want {
			t.Errorf("got %v", err)
		}
		lost, err := c.Recover(t.Context(), 90_001, 100_000, Sink{})
		if err != nil || len(lost) != 10_000 || lost[0] != 90_001 || !slices.IsSorted(lost) {
			t.Errorf("lost %d, %v", len(lost), err)
		}
	})
}
