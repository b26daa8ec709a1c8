package capture_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"evenpole/capture"
)

// hostile is a jig that attaches as it should and then, once it is told to make
// something, sends what nobody asked for, each line with a good CRC.
type hostile struct {
	*model
	send func(m *model, n int) // called every millisecond, n = 1, 2, ...
}

func (h hostile) Serve(_ context.Context, port io.ReadWriter) error {
	h.turn <- struct{}{}
	h.port = port
	<-h.turn
	gone := make(chan struct{})
	defer close(gone)
	go h.beat(gone)
	started := false
	for lines := bufio.NewReader(port); ; {
		line, err := lines.ReadString('\n')
		switch {
		case err != nil:
			return err
		case !strings.Contains(line, ",QUIET,"):
			h.hear(line)
		case !started:
			started = true
			go h.flood(gone)
		}
	}
}

func (h hostile) flood(gone <-chan struct{}) {
	for n := 1; ; n++ {
		select {
		case <-gone:
			return
		case <-time.After(time.Millisecond):
			h.turn <- struct{}{}
			h.send(h.model, n)
			<-h.turn
		}
	}
}

// Whatever a jig sends, a capture of it ends with an error, and the record holds little
// that nobody asked for.
func TestHostileJig(t *testing.T) {
	reading := func(m *model, seq uint32, str int) {
		m.seq = seq
		m.say(fmt.Sprintf("R,%08X,%d,0,%d,1,Q,100,0,0,500,0", m.boot, seq, str))
	}
	for name, send := range map[string]func(m *model, n int){
		"readings without an answer": func(m *model, n int) { reading(m, uint32(n), 1) },
		"readings of other strings":  func(m *model, n int) { reading(m, uint32(n), 2) },
		"levels that no field can hold": func(m *model, n int) {
			m.say(fmt.Sprintf("R,%08X,%d,0,1,1,Q,9000000000000000000,0,0,500,0", m.boot, n))
		},
		"a counter that runs":       func(m *model, n int) { m.say(fmt.Sprintf("S,%08X,%d,0", m.boot, 1000*n)) },
		"answers to other commands": func(m *model, n int) { m.say(fmt.Sprintf("A,%d", 1<<31+n)) },
		"restarts": func(m *model, n int) {
			if n%50 != 0 {
				return
			}
			m.powerUp()
			for m.seq = 4700; m.seq < 5000; {
				m.seq++
				m.memory[m.seq] = fmt.Sprintf("R,%08X,%d,0,1,1,Q,100,0,0,500,0", m.boot, m.seq)
			}
			m.say(fmt.Sprintf("S,%08X,%d,0", m.boot, m.seq))
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			synctest.Test(t, func(t *testing.T) {
				m := &model{turn: make(chan struct{}, 1), boot: 1, answers: map[int]string{}, memory: map[uint32]string{}}
				b := &bench{t: t, dir: dir, dev: hostile{m, send}}
				b.plug()
				res, err := b.run(capture.Options{Takes: 2})
				b.conn.Close()
				synctest.Wait()
				if stopped := (*capture.StoppedError)(nil); !errors.As(err, &stopped) {
					t.Errorf("got %v", err)
				}
				if most := map[bool]int{false: 1000}[strings.HasPrefix(name, "levels")]; res.Kept > most {
					t.Errorf("%d rows kept", res.Kept)
				}
			})
		})
	}
}
