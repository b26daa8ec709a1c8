package jigtest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// bench is a jig and a host that says what it is told to and writes down what it
// hears. It runs on the synthetic clock of a synctest bubble.
type bench struct {
	t    *testing.T
	jig  *Jig
	port net.Conn
	stop context.CancelFunc
	done chan error
	read chan []byte
	raw  []byte
}

// onBench runs a test with a jig on the bench.
func onBench(t *testing.T, cfg Config, f func(b *bench)) {
	synctest.Test(t, func(t *testing.T) {
		if cfg.StatusEvery == 0 {
			cfg.StatusEvery = time.Hour // out of the way
		}
		b := &bench{t: t, jig: New(cfg)}
		b.plug()
		f(b)
		b.pull()
	})
}

// plug gives the jig a port.
func (b *bench) plug() {
	var theirs net.Conn
	b.port, theirs = net.Pipe()
	ctx, stop := context.WithCancel(context.Background())
	b.stop, b.done, b.read = stop, make(chan error, 1), make(chan []byte, 1)
	go func() { b.done <- b.jig.Serve(ctx, theirs) }()
	go func(port net.Conn, read chan<- []byte) {
		all, _ := io.ReadAll(port)
		read <- all
	}(b.port, b.read)
	synctest.Wait()
}

// say sends command lines.
func (b *bench) say(bodies ...string) {
	for _, body := range bodies {
		io.WriteString(b.port, frame(body)) // an error shows as an answer that is missing
	}
	synctest.Wait()
}

// pull takes the port away and returns why the jig's side ended.
func (b *bench) pull() error {
	if b.port == nil {
		return nil
	}
	b.stop()
	err := <-b.done
	b.raw = append(b.raw, <-b.read...)
	b.port = nil
	return err
}

// heard ends the conversation and returns the bodies of the lines heard, all
// ports together, and how many lines were bad.
func (b *bench) heard() (bodies []string, bad int) {
	b.pull()
	lines, rest := split(b.raw)
	for _, line := range lines {
		if body, ok := unframe(line); ok {
			bodies = append(bodies, body)
		} else {
			bad++
		}
	}
	if len(rest) > 0 {
		bad++
	}
	return bodies, bad
}

// wants compares what was heard with what is wanted.
func (b *bench) wants(want ...string) {
	b.t.Helper()
	got, bad := b.heard()
	if bad != 0 {
		b.t.Errorf("%d bad lines", bad)
	}
	if !slices.Equal(got, want) {
		b.t.Errorf("heard\n  %s\nwant\n  %s", strings.Join(got, "\n  "), strings.Join(want, "\n  "))
	}
}

// hello is the I line of the first power-up.
const hello = "I,1,test-jig,A1B2C3D4,jigtest,6,2000000,travel"

// r is the R line of a pluck of string 1 at 1 mV: seq, ms and take are what
// matters in most tests.
func r(seq, ms, take int) string {
	return fmt.Sprintf("R,A1B2C3D4,%d,%d,1,%d,P,1000,3000,329628,500,0", seq, ms, take)
}

func oneMillivolt(Shot) int { return 1000 }

func TestAnswers(t *testing.T) {
	tests := []struct {
		name string
		cfg  Config
		say  string // bodies, one a line
		want string
	}{
		{"ident", Config{}, "C,7,IDENT", hello + "\nA,7"},
		{"pluck", Config{}, "C,7,PLUCK,1,2", r(1, 2, 1) + "\n" + r(2, 4, 2) + "\nA,7"},
		{"quiet", Config{}, "C,7,QUIET,6,1", "R,A1B2C3D4,1,2,6,1,Q,1000,3000,0,500,0\nA,7"},
		{"drive", Config{Excite: "drive"}, "C,7,DRIVE,2,440000,1", "R,A1B2C3D4,1,2,2,1,D,1000,3000,440000,500,0\nA,7"},
		{"field", Config{Field: func(p, n int) int { return -100*p - n }}, "C,7,FIELD,18,2",
			"F,A1B2C3D4,1,2,18,1,-1801\nF,A1B2C3D4,2,4,18,2,-1802\nA,7"},
		{"take counts from 1 in each command", Config{}, "C,7,PLUCK,1,1\nC,8,PLUCK,1,1",
			r(1, 2, 1) + "\nA,7\n" + r(2, 4, 1) + "\nA,8"},
		{"flags", Config{Flags: map[Shot]int{{1, "P", 2}: ShortWindow | MechanicalFault}}, "C,7,PLUCK,1,2",
			r(1, 2, 1) + "\nR,A1B2C3D4,2,4,1,2,P,1000,3000,329628,120,C\nA,7"},
		{"seq and clock wrap", Config{FirstSeq: 1<<32 - 1, Clock: 1<<32 - 3}, "C,7,PLUCK,1,2",
			r(1<<32-1, 1<<32-1, 1) + "\n" + r(0, 1, 2) + "\nA,7"},

		{"unknown command", Config{}, "C,7,BOIL", "E,7,1,unknown command"},
		{"no such string", Config{}, "C,7,PLUCK,7,1", "E,7,2,no such string or position"},
		{"string 0", Config{}, "C,7,QUIET,0,1", "E,7,2,no such string or position"},
		{"count 0", Config{}, "C,7,PLUCK,1,0", "E,7,2,count below 1"},
		{"missing argument", Config{}, "C,7,PLUCK,1", "E,7,2,2 arguments wanted"},
		{"argument too many", Config{}, "C,7,IDENT,1", "E,7,2,0 arguments wanted"},
		{"signed argument", Config{}, "C,7,PLUCK,1,+1", "E,7,2,argument 2 is no number"},
		{"frequency 0", Config{Excite: "drive"}, "C,7,DRIVE,1,0,1", "E,7,2,frequency below 1"},
		{"nothing to drive", Config{}, "C,7,DRIVE,1,440000,1", "E,7,3,drive is not fitted"},
		{"nothing to pluck", Config{Excite: "drive"}, "C,7,PLUCK,1,1", "E,7,3,pluck is not fitted"},
		{"no probe", Config{NoProbe: true}, "C,7,FIELD,1,1", "E,7,3,field is not fitted"},
		{"nobody to answer", Config{}, "C,x,IDENT\nC,-1,IDENT\nC,7\nQ,7,IDENT\n", ""},

		{"stop ends all, then answers", Config{}, "C,1,PLUCK,1,9\nC,2,IDENT\nC,3,QUIET,1,1\nC,4,STOP",
			"E,1,5,stopped\nE,2,5,stopped\nE,3,5,stopped\nA,4"},
		{"four may wait", Config{}, "C,1,PLUCK,1,9\nC,2,IDENT\nC,3,IDENT\nC,4,IDENT\nC,5,IDENT\nC,6,QUIET,1,1\nC,7,STOP",
			"E,6,6,busy\nE,1,5,stopped\nE,2,5,stopped\nE,3,5,stopped\nE,4,5,stopped\nE,5,5,stopped\nA,7"},
		{"a refusal is not remembered", Config{AtCommand: map[int]Slip{1: {Busy: true}}}, "C,7,PLUCK,1,1\nC,7,PLUCK,1,1",
			"E,7,6,busy\n" + r(1, 2, 1) + "\nA,7"},
		{"ident and stop are never refused", Config{Busy: 1}, "C,7,IDENT\nC,8,STOP", hello + "\nA,7\nA,8"},
		{"an id that waits or runs is not done twice", Config{}, "C,7,PLUCK,1,1\nC,8,QUIET,1,1\nC,7,PLUCK,1,1\nC,8,QUIET,1,1",
			r(1, 2, 1) + "\nA,7\nR,A1B2C3D4,2,4,1,1,Q,1000,3000,0,500,0\nA,8"},
		{"ident runs although its id is taken", Config{}, "C,7,PLUCK,1,1\nC,7,IDENT\nC,7,IDENT",
			r(1, 2, 1) + "\nA,7\n" + hello + "\nA,7"},
		{"between the takes", Config{Prompt: true}, "C,1,PLUCK,1,1\nC,2,IDENT\nC,3,RESEND,A1B2C3D4,1,1",
			hello + "\nA,2\nE,3,3,1 is gone\n" + r(1, 2, 1) + "\nA,1"},
		{"restart", Config{AtReading: map[int]Mishap{2: {Restart: true}}}, "C,7,PLUCK,1,3",
			r(1, 2, 1) + "\n" + r(2, 4, 2) + "\nI,1,test-jig,3FEA3D85,jigtest,6,2000000,travel"},
		{"jam", Config{AtReading: map[int]Mishap{2: {Jam: true}}}, "C,7,PLUCK,1,9\nC,8,PLUCK,1,1",
			r(1, 2, 1) + "\n" + r(2, 4, 2) + "\nE,7,4,pick is jammed\n" + r(3, 6, 1) + "\nA,8"},
		{"lost and doubled readings", Config{AtReading: map[int]Mishap{1: {Lose: true}, 2: {Double: true}}}, "C,7,PLUCK,1,2",
			r(2, 4, 2) + "\n" + r(2, 4, 2) + "\nA,7"},
		{"silence", Config{AtReading: map[int]Mishap{1: {Silence: 3 * time.Millisecond}}}, "C,7,PLUCK,1,3",
			r(1, 2, 1) + "\n" + r(3, 6, 3) + "\nA,7"},
		{"deaf, mute", Config{AtCommand: map[int]Slip{1: {Deaf: true}, 2: {Mute: true}}}, "C,6,IDENT\nC,7,IDENT", hello},
		{"an answer to an old command", Config{AtCommand: map[int]Slip{2: {Stale: true}}}, "C,6,BOIL\nC,7,IDENT",
			"E,6,1,unknown command\nE,6,1,unknown command\n" + hello + "\nA,7"},
		{"a late answer", Config{AtCommand: map[int]Slip{1: {Delay: 5 * time.Millisecond}}, StatusEvery: 6 * time.Millisecond},
			"C,7,PLUCK,1,1", r(1, 2, 1) + "\nS,A1B2C3D4,1,6\nA,7\nS,A1B2C3D4,1,12"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			test.cfg.Level = oneMillivolt
			onBench(t, test.cfg, func(b *bench) {
				b.say(strings.Split(test.say, "\n")...)
				time.Sleep(15 * time.Millisecond)
				want := []string{strings.Replace(hello, "travel", b.jig.cfg.Excite, 1)}
				if test.want != "" {
					want = append(want, strings.Split(test.want, "\n")...)
				}
				b.wants(want...)
			})
		})
	}
}

func TestAnswersAgain(t *testing.T) {
	onBench(t, Config{Level: oneMillivolt}, func(b *bench) {
		b.say("C,7,PLUCK,1,1")
		time.Sleep(5 * time.Millisecond)
		b.say("C,7,PLUCK,1,1") // done: answered again, not done again
		b.say("C,8,IDENT")     // forgets the ids that are finished
		b.say("C,7,PLUCK,1,1")
		time.Sleep(5 * time.Millisecond)
		b.wants(hello, r(1, 2, 1), "A,7", "A,7", hello, "A,8", r(2, 7, 1), "A,7")
	})
}

func TestStatus(t *testing.T) {
	onBench(t, Config{Level: oneMillivolt, StatusEvery: time.Second, TakeTime: 1500 * time.Millisecond}, func(b *bench) {
		time.Sleep(time.Second)
		b.say("C,7,PLUCK,1,1")
		time.Sleep(2100 * time.Millisecond)
		b.wants(hello, "S,A1B2C3D4,0,1000", "S,A1B2C3D4,0,2000", r(1, 2500, 1), "A,7", "S,A1B2C3D4,1,3000")
	})
}

func TestResend(t *testing.T) {
	tests := []struct {
		name string
		cfg  Config
		gap  string
		want []string
	}{
		{"all there", Config{}, "A1B2C3D4,2,3", []string{r(2, 4, 2), r(3, 6, 3), "A,8"}},
		{"some gone", Config{Keep: 2}, "A1B2C3D4,1,3", []string{r(2, 4, 2), r(3, 6, 3), "E,8,3,1 is gone"}},
		{"not made yet", Config{}, "A1B2C3D4,3,9", []string{r(3, 6, 3), "E,8,3,4 is gone"}},
		{"of another boot", Config{}, "00000001,2,3", []string{"E,8,3,2 is gone"}},
		{"forgotten", Config{AtReading: map[int]Mishap{2: {Forget: true}}}, "A1B2C3D4,2,3", []string{r(3, 6, 3), "E,8,3,2 is gone"}},
		{"across the wrap", Config{FirstSeq: 1<<32 - 2}, "A1B2C3D4,4294967295,0",
			[]string{r(1<<32-1, 4, 2), r(0, 6, 3), "A,8"}},
		{"backwards", Config{}, "A1B2C3D4,3,2", []string{"E,8,2,range runs backwards"}},
		{"no boot", Config{}, "2,3,4", []string{"E,8,2,boot or range is no number"}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			test.cfg.Level = oneMillivolt
			onBench(t, test.cfg, func(b *bench) {
				b.say("C,7,PLUCK,1,3")
				time.Sleep(8 * time.Millisecond)
				b.say("C,8,RESEND," + test.gap)
				got, _ := b.heard()
				if got = got[5:]; !slices.Equal(got, test.want) { // after I, three R, A
					t.Errorf("got %q, want %q", got, test.want)
				}
			})
		})
	}
}

func TestKeeps256(t *testing.T) {
	onBench(t, Config{}, func(b *bench) {
		b.say("C,7,PLUCK,1,300")
		time.Sleep(time.Second)
		b.say("C,8,RESEND,A1B2C3D4,45,300", "C,9,RESEND,A1B2C3D4,44,44")
		got, _ := b.heard()
		if n := len(got); n != 1+300+1+256+2 {
			t.Fatalf("%d lines", n)
		}
		if !slices.Equal(got[302:302+256], got[45:301]) {
			t.Error("the readings sent again differ from the first time")
		}
		if tail := got[len(got)-2:]; !slices.Equal(tail, []string{"A,8", "E,9,3,44 is gone"}) {
			t.Errorf("answers %q", tail)
		}
	})
}

func TestRestartInMidLine(t *testing.T) {
	onBench(t, Config{AtReading: map[int]Mishap{2: {Cut: true}}}, func(b *bench) {
		b.say("C,7,PLUCK,1,3")
		time.Sleep(20 * time.Millisecond)
		b.say("C,1,RESEND,A1B2C3D4,1,2", "C,2,PLUCK,1,1")
		time.Sleep(10 * time.Millisecond)
		got, bad := b.heard()
		if bad != 1 { // half a reading with the I line behind it
			t.Errorf("%d bad lines, want 1", bad)
		}
		if len(got) != 5 || got[2] != "E,1,3,1 is gone" || !strings.HasPrefix(got[3], "R,3FEA3D85,1,") {
			t.Errorf("heard %q", got)
		}
		log := b.jig.Log()
		if len(log) != 3 || log[1].Boot != "A1B2C3D4" || log[1].Seq != 2 || log[2].Boot != "3FEA3D85" || log[2].Seq != 1 {
			t.Errorf("log %+v", log)
		}
	})
}

func TestHangUp(t *testing.T) {
	for _, restart := range []bool{false, true} {
		t.Run(fmt.Sprintf("restart %v", restart), func(t *testing.T) {
			cfg := Config{Level: oneMillivolt, AtReading: map[int]Mishap{2: {HangUp: true, Restart: restart}}}
			onBench(t, cfg, func(b *bench) {
				b.say("C,7,PLUCK,1,5")
				time.Sleep(7 * time.Millisecond)
				if err := b.pull(); !errors.Is(err, ErrHungUp) {
					t.Errorf("Serve returned %v, want ErrHungUp", err)
				}
				b.plug() // in mid-command: the third take was made unheard
				time.Sleep(10 * time.Millisecond)
				if restart {
					b.wants(hello, r(1, 2, 1), r(2, 4, 2), "I,1,test-jig,3FEA3D85,jigtest,6,2000000,travel")
				} else {
					b.wants(hello, r(1, 2, 1), r(2, 4, 2), r(4, 8, 4), r(5, 10, 5), "A,7")
				}
			})
		})
	}
}

func TestServeEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := New(Config{})
		ours, theirs := net.Pipe()
		done := make(chan error)
		go func() { done <- j.Serve(t.Context(), theirs) }()
		synctest.Wait()
		if err := j.Serve(t.Context(), theirs); err == nil {
			t.Error("served twice at once")
		}
		ours.Close()
		if err := <-done; err == nil {
			t.Error("no error although the host is gone")
		}
		ctx, cancel := context.WithCancelCause(t.Context())
		cause := errors.New("enough")
		_, theirs = net.Pipe()
		go func() { done <- j.Serve(ctx, theirs) }()
		cancel(cause)
		if err := <-done; !errors.Is(err, cause) {
			t.Errorf("Serve returned %v, want the cause", err)
		}
	})
}

func TestLogIsWhatWasSent(t *testing.T) {
	onBench(t, Config{Flags: map[Shot]int{{3, "P", 2}: Clipped}}, func(b *bench) {
		b.say("C,1,QUIET,3,2", "C,2,PLUCK,3,4", "C,3,FIELD,2,2")
		time.Sleep(50 * time.Millisecond)
		got, _ := b.heard()
		got = slices.DeleteFunc(got, func(s string) bool { return s[0] != 'R' && s[0] != 'F' })
		var logged []string
		for _, e := range b.jig.Log() {
			logged = append(logged, e.body())
		}
		if len(got) != 8 || !slices.Equal(got, logged) {
			t.Errorf("heard %q\nlogged %q", got, logged)
		}
	})
}

// A bad cable loses lines and never makes one up: a damaged line that still
// passes its CRC has a chance of some 2^-32.
func TestBadCable(t *testing.T) {
	for _, wire := range []Wire{{FlipBit: 0.001}, {LoseByte: 0.005}, {DoubleByte: 0.005}, {LoseLine: 0.2}, {DoubleLine: 0.2}} {
		t.Run(fmt.Sprintf("%+v", wire), func(t *testing.T) {
			play := func() (got []string, bad int, log []Entry) {
				onBench(t, Config{Seed: 5, ToHost: wire}, func(b *bench) {
					b.say("C,1,PLUCK,1,200")
					time.Sleep(time.Second)
					got, bad = b.heard()
					log = b.jig.Log()
				})
				return got, bad, log
			}
			got, bad, log := play()
			sent := map[string]bool{hello: true, "A,1": true}
			for _, e := range log {
				sent[e.body()] = true
			}
			for _, body := range got {
				if !sent[body] {
					t.Errorf("heard %q, which was never sent", body)
				}
			}
			if len(sent) != 202 || (bad == 0 && len(got) == 202) {
				t.Errorf("%d sent, %d heard, %d bad: nothing went wrong", len(sent), len(got), bad)
			}
			if again, _, _ := play(); !slices.Equal(again, got) {
				t.Error("the same seed went wrong in another way")
			}
		})
	}
}

func TestBadCableToJig(t *testing.T) {
	onBench(t, Config{ToJig: Wire{LoseLine: 1}}, func(b *bench) {
		b.say("C,1,IDENT")
		b.wants(hello)
	})
}

func TestGarbage(t *testing.T) {
	onBench(t, Config{Garbage: 300}, func(b *bench) {
		b.say("C,1,IDENT")
		got, bad := b.heard()
		if bad == 0 || len(b.raw) < 300 || got[len(got)-1] != "A,1" {
			t.Errorf("%d bytes, %d bad lines, heard %q", len(b.raw), bad, got)
		}
	})
}

// The sums are of Python's binascii.crc32; the first is the check value of
// CRC-32/ISO-HDLC in the catalogue of parametrised CRC algorithms (Greg Cook).
func TestFrame(t *testing.T) {
	for body, want := range map[string]string{
		"123456789": "123456789*CBF43926\n",
		"":          "*00000000\n",
		"C,7,IDENT": "C,7,IDENT*875D4FFB\n",
	} {
		if got := frame(body); got != want {
			t.Errorf("frame(%q) = %q, want %q", body, got, want)
		}
	}
	for _, line := range []string{"", "123456789", "123456789*", "123456789*cbf43926", "123456789*CBF43927",
		"123456789*CBF43926 ", "\t*ABDE5729", strings.Repeat("x", 152) + "*6E397B70"} {
		if body, ok := unframe(line); ok {
			t.Errorf("unframe(%q) = %q, want it refused", line, body)
		}
	}
	if body, ok := unframe("123456789*CBF43926\r"); !ok || body != "123456789" {
		t.Errorf("a line with CR: %q, %v", body, ok)
	}
}
