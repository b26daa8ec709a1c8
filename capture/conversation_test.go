package capture_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"evenpole/capture"

	"pgregory.net/rapid"
)

// model is the jig's side of the protocol in its plainest form, a third one
// beside jigtest and sim: takes need no time, all readings since power-up are
// remembered, and what becomes of each line was settled beforehand.
type model struct {
	turn    chan struct{} // held by who acts; no mutex, since time stands still in a bubble that waits for one
	toHost  []fate        // what becomes of the lines to come; after that they arrive
	toJig   []fate
	port    io.ReadWriter // nil: none
	boot    uint32
	seq     uint32
	answers map[int]string    // by id
	memory  map[uint32]string // by seq
	log     []made
}

// A fate is what becomes of a line, and of the jig or the port with it.
type fate byte

const (
	arrives fate = iota
	isLost
	isDoubled
	isDamaged
	isCut     // half of it is sent, then the jig restarts
	isLast    // the jig restarts after it
	isHungUp  // the port is lost after it
	allFates  // how many
	lineFates = isCut
)

func (m *model) Serve(_ context.Context, port io.ReadWriter) error {
	m.turn <- struct{}{}
	m.port = port
	<-m.turn
	gone := make(chan struct{})
	defer close(gone)
	go m.beat(gone)
	for lines := bufio.NewReader(port); ; {
		line, err := lines.ReadString('\n')
		if err != nil {
			m.hangUp(port)
			return err
		}
		m.hear(line)
	}
}

// beat says every second that the jig is alive.
func (m *model) beat(gone <-chan struct{}) {
	for {
		select {
		case <-gone:
			return
		case <-time.After(time.Second):
			m.turn <- struct{}{}
			m.say(fmt.Sprintf("S,%08X,%d,0", m.boot, m.seq))
			<-m.turn
		}
	}
}

func (m *model) hangUp(port io.ReadWriter) {
	m.turn <- struct{}{}
	defer func() { <-m.turn }()
	if m.port == port {
		m.port = nil
	}
}

// powerUp starts the jig afresh.
func (m *model) powerUp() {
	m.boot++
	m.seq, m.answers, m.memory = 0, map[int]string{}, map[uint32]string{}
	m.say(fmt.Sprintf("I,1,model,%08X,0,3,100000000,travel", m.boot))
}

// next takes the fate of the next line.
func next(plan *[]fate) fate {
	if len(*plan) == 0 {
		return arrives
	}
	f := (*plan)[0]
	*plan = (*plan)[1:]
	return f
}

// say sends a line and lets its fate happen.
func (m *model) say(body string) {
	if m.port == nil {
		return
	}
	port, line := m.port, fmt.Sprintf("%s*%08X\n", body, crc32.ChecksumIEEE([]byte(body)))
	f := next(&m.toHost)
	switch f {
	case isLost:
		return
	case isDoubled:
		line += line
	case isDamaged:
		line = line[:3] + string(line[3]^1) + line[4:]
	case isCut:
		line = line[:len(line)/2]
	case isHungUp:
		m.port = nil
	}
	io.WriteString(port, line) // a host that has gone does not hear it
	switch f {
	case isCut, isLast:
		m.powerUp()
	case isHungUp:
		port.(io.Closer).Close()
	}
}

// hear acts on a line of the host.
func (m *model) hear(line string) {
	m.turn <- struct{}{}
	defer func() { <-m.turn }()
	body, sum, _ := strings.Cut(strings.TrimSpace(line), "*")
	if sum != fmt.Sprintf("%08X", crc32.ChecksumIEEE([]byte(body))) {
		panic("the host's line is wrong: " + line)
	}
	words := strings.Split(body, ",")
	id, err := strconv.Atoi(words[1])
	if err != nil {
		panic(err)
	}
	switch next(&m.toJig) {
	case isLost, isDamaged:
	case isDoubled:
		m.act(id, words[2], words[3:])
		fallthrough
	default:
		m.act(id, words[2], words[3:])
	}
}

// act does a command, once.
func (m *model) act(id int, verb string, args []string) {
	old, known := m.answers[id]
	switch {
	case verb == "STOP": // nothing runs
		m.answer(id, "")
	case verb == "IDENT":
		m.answers = map[int]string{}
		m.say(fmt.Sprintf("I,1,model,%08X,0,3,100000000,travel", m.boot))
		m.answer(id, "")
	case known:
		m.say(old)
	case verb == "RESEND":
		m.answer(id, m.resend(args))
	default:
		m.take(id, verb[:1], number(args[0]), number(args[1]))
	}
}

func number(word string) int {
	n, err := strconv.ParseUint(word, 10, 32)
	if err != nil {
		panic(err)
	}
	return int(n)
}

func (m *model) answer(id int, gone string) {
	m.answers[id] = fmt.Sprintf("A,%d", id)
	if gone != "" {
		m.answers[id] = fmt.Sprintf("E,%d,3,%s is gone", id, gone)
	}
	m.say(m.answers[id])
}

// resend sends what there is of a range, and returns what is not there first.
func (m *model) resend(args []string) (gone string) {
	from, to := uint32(number(args[1])), uint32(number(args[2]))
	memory := m.memory
	if args[0] != fmt.Sprintf("%08X", m.boot) {
		memory = nil
	}
	for seq := from; seq != to+1; seq++ {
		if body, ok := memory[seq]; ok {
			m.say(body)
		} else if gone == "" {
			gone = fmt.Sprint(seq)
		}
	}
	return gone
}

// take makes readings, each of a level that no other one has, and then answers,
// unless the jig has restarted meanwhile.
func (m *model) take(id int, mode string, str, count int) {
	boot := m.boot
	for n := 1; n <= count && m.boot == boot; n++ {
		m.seq++
		level := 1 + len(m.log)
		if mode == "P" {
			level += 1_000_000
		}
		m.log = append(m.log, made{"model", fmt.Sprintf("%08X", boot), m.seq, str, n, mode, float64(level) / 1000, 0, 0, 500, true})
		body := fmt.Sprintf("R,%08X,%d,0,%d,%d,%s,%d,0,0,500,0", boot, m.seq, str, n, mode, level)
		m.memory[m.seq] = body
		m.say(body)
	}
	if m.boot == boot {
		m.answer(id, "")
	}
}

// step is one thing that the person at the bench does.
type step struct {
	what  string // capture, other, power: a capture, one of another mount, or off and on
	kept  int    // the capture is over once so many rows were kept
	gruff bool   // killed, not asked to stop
}

// story is all that happens.
type story struct {
	toHost, toJig []fate
	steps         []step
	firstSeq      uint32
}

func drawStory(t *rapid.T) story {
	fates := func(last fate, label string) []fate {
		one := rapid.Custom(func(t *rapid.T) fate {
			if rapid.IntRange(0, 9).Draw(t, "well") < 6 {
				return arrives
			}
			return fate(rapid.IntRange(0, int(last)-1).Draw(t, "fate"))
		})
		return rapid.SliceOfN(one, 0, 80).Draw(t, label)
	}
	one := rapid.Custom(func(t *rapid.T) step {
		return step{
			rapid.SampledFrom([]string{"capture", "capture", "other", "power"}).Draw(t, "what"),
			rapid.IntRange(1, 8).Draw(t, "kept"),
			rapid.Bool().Draw(t, "gruff"),
		}
	})
	return story{
		toHost:   fates(allFates, "to host"),
		toJig:    fates(lineFates, "to jig"),
		steps:    rapid.SliceOfN(one, 0, 4).Draw(t, "steps"),
		firstSeq: rapid.SampledFrom([]uint32{0, 1<<32 - 4, 1<<31 - 3}).Draw(t, "seq"),
	}
}

// Whatever becomes of lines, jig, port and program, in whatever order: what was
// called kept is in the record once and as the jig made it, nothing else is
// there but what the jig made, and in the end the capture is complete.
func TestConversation(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := drawStory(rt)
		var wrong []string
		dir, err := os.MkdirTemp(t.TempDir(), "shop")
		if err != nil {
			rt.Fatal(err)
		}
		synctest.Test(t, func(t *testing.T) { wrong = s.play(t, dir) })
		if len(wrong) > 0 {
			rt.Fatal(strings.Join(wrong, "\n"))
		}
	})
}

// play lets a story happen and returns what was wrong with it.
func (s story) play(t *testing.T, dir string) (wrong []string) {
	m := &model{turn: make(chan struct{}, 1), toHost: s.toHost, toJig: s.toJig, boot: 1, seq: s.firstSeq, answers: map[int]string{}, memory: map[uint32]string{}}
	p := &player{bench: bench{t: t, dir: dir, dev: m}}
	for _, x := range s.steps {
		if x.what == "power" {
			m.powerUp()
			continue
		}
		p.capture(x)
	}
	// A capture that is complete adds nothing, so that what is left of the other
	// one is that one's to fetch.
	for _, what := range []string{"capture", "other"} {
		complete := false
		for n := 0; n < 40 && !complete; n++ { // a story's worst fates are fewer
			complete = p.capture(step{what: what, kept: 1 << 30})
			time.Sleep(time.Minute)
		}
		if !complete {
			wrong = append(wrong, "the "+what+" does not get complete")
		}
	}
	strange, missing := p.compare(m.log)
	for _, x := range strange {
		wrong = append(wrong, fmt.Sprintf("was not made, or stands twice: %+v", x))
	}
	for _, x := range missing {
		if p.acknowledged[x.rms] {
			wrong = append(wrong, fmt.Sprintf("was called kept, and is lost: %+v", x))
		}
	}
	if m.boot == 1 && len(missing) > p.lost {
		wrong = append(wrong, fmt.Sprintf("%d readings are not in the record, and the jig has them all: %v", len(missing), missing))
	}
	return append(wrong, p.wrong...)
}

// player is a person who captures, and what that person was told.
type player struct {
	bench
	acknowledged map[float64]bool // by level in mV
	lost         int
	wrong        []string
}

// capture plugs the jig in, captures and unplugs it.
func (p *player) capture(x step) (complete bool) {
	defer synctest.Wait()
	if p.tryPlug("test port") != nil {
		return false
	}
	defer p.conn.Close()
	ctx, kill := context.WithCancel(p.t.Context())
	defer kill()
	stop := make(chan struct{})
	kept := 0
	opt := capture.Options{Takes: 2, Quiet: 1, Stop: stop, Progress: func(r capture.Progress) {
		if p.acknowledged == nil {
			p.acknowledged = map[float64]bool{}
		}
		p.acknowledged[r.Level] = true
		switch kept++; {
		case kept != x.kept:
		case x.gruff:
			kill()
		default:
			close(stop)
		}
	}}
	if x.what == "other" {
		opt.Mount = edited("1.9", "1.95")
	}
	res, err := p.runWith(ctx, p.conn, opt)
	p.lost += res.Lost
	var stopped *capture.StoppedError
	if err != nil && !errors.As(err, &stopped) {
		p.wrong = append(p.wrong, fmt.Sprintf("an error that is none of a capture that was stopped: %v", err))
	}
	if kept != res.Kept {
		p.wrong = append(p.wrong, fmt.Sprintf("%d told, %d kept", kept, res.Kept))
	}
	return err == nil
}
