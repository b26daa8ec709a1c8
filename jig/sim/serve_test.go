package sim

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"slices"
	"testing"
	"time"

	"evenpole/jig"
)

// serve serves a jig on a port until the test ends.
func serve(t *testing.T, j *Jig, term *Term) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- j.Serve(ctx, term.Port) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != context.Canceled && err != ErrHungUp {
			t.Errorf("serve: %v", err)
		}
		term.Close()
	})
}

// attach is a host that is in a hurry.
func attach(t *testing.T, term *Term) *jig.Conn {
	t.Helper()
	port, err := term.Open()
	if err != nil {
		t.Fatal(err)
	}
	c, err := jig.Attach(context.Background(), port, "sim", jig.Options{Answer: 50 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

// collect keeps what a Conn hands on.
type collect struct {
	readings []jig.Reading
	fields   []jig.Field
}

func (c *collect) sink() jig.Sink {
	return jig.Sink{
		Reading: func(r jig.Reading) error { c.readings = append(c.readings, r); return nil },
		Field:   func(f jig.Field) error { c.fields = append(c.fields, f); return nil },
	}
}

func (c *collect) sorted() []jig.Reading {
	slices.SortFunc(c.readings, func(a, b jig.Reading) int { return int(int32(a.Seq - b.Seq)) })
	return c.readings
}

// ports are the two kinds of port.
func ports(t *testing.T, test func(t *testing.T, term *Term)) {
	t.Run("terminal", func(t *testing.T) {
		term, err := Terminal()
		if err != nil {
			t.Fatal(err)
		}
		test(t, term)
	})
	t.Run("in process", func(t *testing.T) { test(t, InProcess()) })
}

func TestRoundTrip(t *testing.T) {
	ports(t, func(t *testing.T, term *Term) {
		j := New(Config{Speed: 1000, Seed: 3})
		j.Mount(flat(set, 3))
		serve(t, j, term)
		for range 2 { // a second host on the same port
			c := attach(t, term)
			from := len(j.Log())
			var got collect
			for str := 1; str <= 6; str++ {
				for _, cmd := range []jig.Command{jig.QuietCommand(str, 1), jig.PluckCommand(str, 4), jig.FieldCommand(str, 1)} {
					if _, err := c.Do(t.Context(), cmd, got.sink()); err != nil {
						t.Fatal(err)
					}
				}
			}
			if want := j.Log()[from:]; len(want) != 30 || !slices.Equal(got.sorted(), want) {
				t.Errorf("host has %v, jig made %v", got.readings, want)
			}
			if s := c.Stats(); s.Repeats > 0 || s.Missing > 0 || len(got.fields) != 6 {
				t.Errorf("%+v, %d field readings", s, len(got.fields))
			}
			c.Close()
		}
	})
}

// Speed changes when readings come, and not what they are.
func TestSpeedChangesNothing(t *testing.T) {
	run := func(speed float64) []jig.Reading {
		term := InProcess()
		j := New(Config{Speed: speed, Seed: 5})
		j.Mount(flat(set, 3))
		serve(t, j, term)
		c := attach(t, term)
		for str := 1; str <= 6; str++ {
			if _, err := c.Do(t.Context(), jig.PluckCommand(str, 10), jig.Sink{}); err != nil {
				t.Fatal(err)
			}
		}
		all := j.Log()
		for i := range all {
			all[i].Millis = 0
		}
		return all
	}
	if a, b := run(1000), run(5000); len(a) != 60 || !slices.Equal(a, b) {
		t.Errorf("two speeds differ:\n%v\n%v", a, b)
	}
}

// A bad wire loses nothing and counts nothing twice.
func TestBadWire(t *testing.T) {
	term, err := Terminal()
	if err != nil {
		t.Fatal(err)
	}
	j := New(Config{Speed: 1000, FirstSeq: 4294967290, Faults: Faults{
		BitFlip: 0.05, LoseByte: 0.03, LoseLine: 0.05, DoubleLine: 0.05, Garbage: true,
	}})
	j.Mount(flat(set, 3))
	serve(t, j, term)
	c := attach(t, term)
	var got collect
	for str := 1; str <= 6; str++ {
		if _, err := c.Do(t.Context(), jig.PluckCommand(str, 20), got.sink()); err != nil {
			t.Fatal(err)
		}
	}
	if want := j.Log(); len(want) != 120 || !slices.Equal(got.sorted(), want) {
		t.Errorf("host has %d readings, jig made %d", len(got.readings), len(want))
	}
	if s := c.Stats(); s.Missing == 0 || s.Resends == 0 {
		t.Errorf("nothing went wrong: %+v", s)
	}
}

func TestHangUp(t *testing.T) {
	ports(t, func(t *testing.T, term *Term) {
		j := New(Config{Speed: 1000, Faults: Faults{HangUpAfter: 3}})
		j.Mount(flat(set, 3))
		serve(t, j, term)
		var got collect
		_, err := attach(t, term).Do(t.Context(), jig.PluckCommand(1, 5), got.sink())
		if !errors.Is(err, jig.ErrUnplugged) {
			t.Fatalf("got %v, want %v", err, jig.ErrUnplugged)
		}
		again, err := Terminal()
		if err != nil {
			t.Fatal(err)
		}
		serve(t, j, again)
		c := attach(t, again)
		if c.Ident().Boot != j.Log()[0].Boot {
			t.Errorf("boot %v after the cable was put back, was %v", c.Ident().Boot, j.Log()[0].Boot)
		}
		if _, err := c.Recover(t.Context(), uint32(len(got.readings))+1, c.Last(), got.sink()); err != nil {
			t.Fatal(err)
		}
		if want := j.Log(); len(want) < 3 || !slices.Equal(got.sorted(), want) {
			t.Errorf("host has %v, jig made %v", got.readings, want)
		}
	})
}

// restart switches the jig off and on: a new boot, nothing remembered. It does
// nothing to a jig that is off.
func (j *Jig) restart() {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.boots == 0 {
		return
	}
	j.step(j.clock())
	j.now = j.clock()
	j.powerUp()
	j.nudge()
}

func TestRestartIsHeard(t *testing.T) {
	term := InProcess()
	j := New(Config{Speed: 100})
	j.restart() // it is off: nothing happens
	j.Mount(flat(set, 3))
	serve(t, j, term)
	c := attach(t, term)
	was := c.Ident().Boot
	j.restart()
	_, err := c.Do(t.Context(), jig.PluckCommand(1, 1), jig.Sink{})
	var restart *jig.RestartError
	if !errors.As(err, &restart) || restart.Was != was {
		t.Errorf("got %v, want a restart from %v", err, was)
	}
}

// Bytes pass a pseudo-terminal as they are, before any host has set it up.
func TestTerminalPassesAllBytes(t *testing.T) {
	term, err := Terminal()
	if err != nil {
		t.Fatal(err)
	}
	defer term.Close()
	if term.Name == "" {
		t.Skip("no pseudo-terminal here")
	}
	var all []byte
	for b := range 256 {
		all = append(all, byte(b))
	}
	if _, err := term.Port.Write(all); err != nil {
		t.Fatal(err)
	}
	host, err := os.OpenFile(term.Name, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer host.Close()
	got := make([]byte, len(all))
	if _, err := io.ReadFull(host, got); err != nil || !bytes.Equal(got, all) {
		t.Errorf("to the host: % x, %v", got, err)
	}
	if _, err := host.Write(all); err != nil {
		t.Fatal(err)
	}
	if _, err := io.ReadFull(term.Port, got); err != nil || !bytes.Equal(got, all) {
		t.Errorf("to the jig: % x, %v", got, err)
	}
}

func TestTwoPorts(t *testing.T) {
	term := InProcess()
	j := New(Config{Speed: 100})
	serve(t, j, term)
	attach(t, term)
	if err := j.Serve(t.Context(), struct{ io.ReadWriter }{}); err == nil {
		t.Error("a jig with a port was given another")
	}
}

// A port that nobody reads does not hold the jig up.
func TestNobodyReads(t *testing.T) {
	term, err := Terminal()
	if err != nil {
		t.Fatal(err)
	}
	j := New(Config{Speed: 200000})
	j.Mount(flat(set, 3))
	serve(t, j, term)
	port, err := term.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer port.Close()
	cmd := jig.PluckCommand(1, 3000)
	cmd.ID = 1
	if _, err := port.Write(cmd.AppendLine(nil)); err != nil {
		t.Fatal(err)
	}
	for len(j.Log()) < 3000 {
		time.Sleep(time.Millisecond)
	}
}

func TestClosedPortInProcess(t *testing.T) {
	term := InProcess()
	term.Close()
	term.Close()
	if _, err := term.Open(); !errors.Is(err, jig.ErrNoPort) {
		t.Errorf("open: %v, want %v", err, jig.ErrNoPort)
	}
	if _, err := term.Port.Write([]byte("x")); !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("write: %v, want %v", err, io.ErrClosedPipe)
	}
	if err := New(Config{}).Serve(t.Context(), term.Port); err != io.EOF && err != io.ErrClosedPipe {
		t.Errorf("serve: %v", err)
	}
}
