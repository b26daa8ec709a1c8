package verify

import (
	"bufio"
	"fmt"
	"hash/crc32"
	"io"
	"strconv"
	"strings"
	"time"
)

// slips are ways in which the test's jig is broken.
type slips struct {
	crc           bool // every fifth line has a wrong CRC
	skip          bool // seq skips a number
	resendCounts  bool // RESEND makes new numbers
	resendMS      bool // RESEND says another time
	resendBoot    bool // RESEND does not look at boot
	resendShort   bool // RESEND leaves out the last one
	goneText      bool // E 3 says something else
	takeFromZero  bool
	modeWrong     bool
	twice         bool // a repeated id is done twice
	busyKept      bool // E 6 is remembered
	smallQueue    bool // room for two that wait
	endlessQueue  bool
	stopRunsOn    bool // STOP leaves what waits
	stopSilent    bool // STOP sends no E 5
	stopFirst     bool // the answer to STOP comes ahead of E 5
	stopLate      bool // a reading after the A of STOP
	stopByID      bool // STOP with an id that was used does nothing
	noForget      bool // IDENT forgets nothing
	identBusy     bool // IDENT is refused when the queue is full
	lastFirst     bool // a stack in place of a queue
	noCheck       bool // CRCs of commands are not looked at
	anyCase       bool
	longHeard     bool // lines of any length
	deafAfterLong bool
	deafAfterJunk bool
	noCR          bool
	unknownDone   bool // A to an unknown word
	argumentDone  bool // A to a bad argument
	anyString     bool // strings that are not there
	noIDAnswer    bool // answers id 0 to lines without one
	smallStore    bool // 100 readings kept
	noStatus      bool
	busyStatus    bool // no S line while it works
	statusBehind  bool // S lines name the number before
	clockBack     bool
	bootChanges   bool // R lines name another boot
	identChanges  bool
	slow          bool // 0.8 s to an answer
	peakSmall     bool
	noClipFlag    bool
	plucksMore    bool // one take too many
	answerTwice   bool
	noAnswer      bool // none to FIELD
	sameBoot      bool // after a restart
	repeatMute    bool // no answer to a repeated id
	endless       bool // PLUCK never ends
	dies          bool // it answers nothing any more, and is alive
	driveDone     bool // DRIVE is answered A by a jig without an exciter
}

type order struct {
	id                 uint64
	verb               string
	place, count, made int
	boot               string
	from, to           uint32
}

// bench is a plain jig of six strings with a probe, written from firmware-notes alone.
type bench struct {
	slips
	port   io.ReadWriter
	began  time.Time
	boot   uint32
	seq    uint32
	lines  int
	idents int
	queue  []order
	old    map[uint64]string
	kept   map[uint32]string
}

const (
	benchTake = 300 * time.Millisecond
	benchName = "plain"
)

// serve is the jig until its port ends or off says to switch it off and on.
func (b *bench) serve(off <-chan struct{}) {
	in := make(chan string)
	go b.hear(in)
	b.powerUp()
	status := time.NewTicker(time.Second)
	defer status.Stop()
	var take <-chan time.Time
	for {
		if take == nil && len(b.queue) > 0 {
			take = time.After(benchTake)
		}
		select {
		case line, ok := <-in:
			if !ok {
				return
			}
			b.arrive(line)
			if len(b.queue) == 0 {
				take = nil
			}
		case <-take:
			take = nil
			b.work()
		case <-status.C:
			b.status()
		case <-off:
			b.powerUp()
		}
	}
}

// hear passes on lines without their LF.
func (b *bench) hear(in chan<- string) {
	defer close(in)
	r := bufio.NewReader(b.port)
	deaf := false
	for {
		line, err := r.ReadString('\n')
		if err != nil {
			return
		}
		line = strings.TrimSuffix(line, "\n")
		if b.deafAfterLong && len(line) > 1000 || b.deafAfterJunk && strings.Contains(line, "\x00") {
			deaf = true
		}
		if !deaf {
			in <- line
		}
	}
}

func (b *bench) powerUp() {
	if b.boot == 0 || !b.sameBoot {
		b.boot += 0x01020304
	}
	b.began, b.seq, b.queue = time.Now(), 0, nil
	b.old, b.kept = map[uint64]string{}, map[uint32]string{}
	b.ident()
}

func (b *bench) ms() uint32 { return uint32(time.Since(b.began).Milliseconds()) }

func (b *bench) send(format string, args ...any) {
	body := fmt.Sprintf(format, args...)
	sum := crc32.ChecksumIEEE([]byte(body))
	if b.lines++; b.crc && b.lines%5 == 0 {
		sum ^= 0x100
	}
	fmt.Fprintf(b.port, "%s*%08X\n", body, sum)
}

func (b *bench) ident() {
	name := benchName
	if b.idents++; b.identChanges && b.idents%2 == 0 {
		name += "-b"
	}
	b.send("I,1,%s,%08X,0,6,2000000,travel", name, b.boot)
}

func (b *bench) status() {
	if b.noStatus || b.busyStatus && len(b.queue) > 0 {
		return
	}
	seq, ms := b.seq, b.ms()
	if b.statusBehind && seq > 0 {
		seq--
	}
	if b.clockBack && ms > 20000 {
		ms -= 20000 - ms%1000
	}
	b.send("S,%08X,%d,%d", b.boot, seq, ms)
}

func (b *bench) answer(id uint64, text string) {
	if text == "" {
		text = fmt.Sprintf("A,%d", id)
	} else {
		text = fmt.Sprintf("E,%d,%s", id, text)
	}
	if b.slow {
		time.Sleep(800 * time.Millisecond)
	}
	if !strings.HasSuffix(text, ",6,busy") || b.busyKept {
		b.old[id] = text
	}
	b.send("%s", text)
	if b.answerTwice {
		b.send("%s", text)
	}
}

func (b *bench) arrive(line string) {
	if b.noCR && strings.HasSuffix(line, "\r") {
		return
	}
	line = strings.TrimSuffix(line, "\r")
	body, sum, _ := strings.Cut(line, "*")
	want := fmt.Sprintf("%08X", crc32.ChecksumIEEE([]byte(body)))
	sound := sum == want || b.noCheck || b.anyCase && strings.ToUpper(sum) == want
	f := strings.Split(body, ",")
	if b.dies && b.seq > 100 {
		return
	}
	if !sound || len(line) > 160 && !b.longHeard || len(f) < 3 || f[0] != "C" {
		return
	}
	id, err := strconv.ParseUint(f[1], 10, 64)
	if err != nil {
		if b.noIDAnswer {
			b.send("E,0,2,no id")
		}
		return
	}
	o := order{id: id, verb: f[2]}
	reason := b.understand(&o, f[3:])
	old, finished := b.old[id]
	switch {
	case o.verb == "STOP" && !(b.stopByID && finished):
		b.stop(id)
	case o.verb == "IDENT" && b.identBusy && b.full():
		b.answer(id, "6,busy")
	case o.verb == "IDENT" && reason == "":
		if !b.noForget {
			clear(b.old)
		}
		b.ident()
		b.answer(id, "")
	case b.waits(id) && !b.twice:
	case finished && !b.twice:
		if !b.repeatMute {
			b.send("%s", old)
		}
	case reason != "":
		b.answer(id, reason)
	case o.verb == "RESEND":
		b.resend(o)
	case b.full():
		b.answer(id, "6,busy")
	case b.lastFirst && len(b.queue) > 0:
		b.queue = append([]order{o}, b.queue...)
	default:
		b.queue = append(b.queue, o)
	}
}

func (b *bench) full() bool {
	room := 5
	if b.smallQueue {
		room = 3
	}
	return len(b.queue) >= room && !b.endlessQueue
}

func (b *bench) waits(id uint64) bool {
	for _, o := range b.queue {
		if o.id == id {
			return true
		}
	}
	return false
}

// understand returns why a command cannot be done, or nothing.
func (b *bench) understand(o *order, args []string) string {
	bad := "2,bad argument"
	if b.argumentDone {
		bad = ""
	}
	switch o.verb {
	case "IDENT", "STOP":
		return ""
	case "DRIVE":
		if b.driveDone {
			o.count, o.place = 1, 1
			return ""
		}
		return "3,no exciter"
	case "RESEND":
		if len(args) != 3 || len(args[0]) != 8 {
			return "2,bad argument"
		}
		from, _ := strconv.ParseUint(args[1], 10, 32)
		to, _ := strconv.ParseUint(args[2], 10, 32)
		o.boot, o.from, o.to = args[0], uint32(from), uint32(to)
		return ""
	case "PLUCK", "QUIET", "FIELD":
	default:
		if b.unknownDone {
			o.verb, o.place, o.count = "QUIET", 1, 1
			return ""
		}
		return "1,unknown command"
	}
	o.place, o.count = 1, 1
	if len(args) != 2 {
		return bad
	}
	place, err := strconv.ParseUint(args[0], 10, 32)
	count, err2 := strconv.ParseUint(args[1], 10, 32)
	if err != nil || err2 != nil || count < 1 {
		return bad
	}
	if (place < 1 || place > 6) && o.verb != "FIELD" && !b.anyString {
		return bad
	}
	o.place, o.count = max(int(place), 1), int(count)
	return ""
}

func (b *bench) stop(id uint64) {
	if b.stopFirst {
		b.answer(id, "")
	}
	rest := b.queue
	b.queue = nil
	if b.stopRunsOn && len(rest) > 1 {
		b.queue = rest[1:]
		rest = rest[:1]
	}
	for _, o := range rest {
		if !b.stopSilent {
			b.answer(o.id, "5,stopped")
		}
	}
	if !b.stopFirst {
		b.answer(id, "")
	}
	if b.stopLate && len(rest) > 0 {
		b.take(&rest[0])
	}
}

func (b *bench) work() {
	o := &b.queue[0]
	b.take(o)
	wanted := o.count
	if b.plucksMore && o.verb == "PLUCK" {
		wanted++
	}
	if o.made < wanted || b.endless && o.verb == "PLUCK" {
		return
	}
	id, verb := o.id, o.verb
	b.queue = b.queue[1:]
	if !b.noAnswer || verb != "FIELD" {
		b.answer(id, "")
	}
}

// take makes a reading and keeps it.
func (b *bench) take(o *order) {
	o.made++
	b.seq++
	if b.skip && b.seq%7 == 0 {
		b.seq++
	}
	boot, take, mode := b.boot, o.made, o.verb[:1]
	if b.bootChanges {
		boot++
	}
	if b.takeFromZero {
		take--
	}
	rms := 90000 + 500*(int(b.seq)*7%5)
	if o.verb == "QUIET" {
		rms = 200
	}
	if b.modeWrong && mode == "Q" {
		mode = "P"
	}
	peak := 3 * rms
	if b.peakSmall {
		peak = rms / 2
	}
	if b.noClipFlag && o.verb == "PLUCK" {
		peak = 2000000
	}
	body := fmt.Sprintf("R,%08X,%d,%d,%d,%d,%s,%d,%d,0,500,0", boot, b.seq, b.ms(), o.place, take, mode, rms, peak)
	if o.verb == "FIELD" {
		body = fmt.Sprintf("F,%08X,%d,%d,%d,%d,-48210", boot, b.seq, b.ms(), o.place, take)
	}
	b.kept[b.seq] = body
	keep := uint32(256)
	if b.smallStore {
		keep = 100
	}
	delete(b.kept, b.seq-keep)
	b.send("%s", body)
}

func (b *bench) resend(o order) {
	gone, missing := uint32(0), false
	mine := o.boot == fmt.Sprintf("%08X", b.boot) || b.resendBoot
	for seq := o.from; seq-o.from <= o.to-o.from; seq++ {
		body, ok := b.kept[seq]
		switch {
		case !mine || !ok:
			if !missing {
				gone, missing = seq, true
			}
		case b.resendShort && seq == o.to:
		case b.resendMS:
			f := strings.Split(body, ",")
			f[3] = fmt.Sprint(b.ms())
			b.send("%s", strings.Join(f, ","))
		case b.resendCounts:
			b.seq++
			f := strings.Split(body, ",")
			f[2] = fmt.Sprint(b.seq)
			b.send("%s", strings.Join(f, ","))
		default:
			b.send("%s", body)
		}
	}
	switch {
	case missing && b.goneText:
		b.answer(o.id, "3,not there")
	case missing:
		b.answer(o.id, fmt.Sprintf("3,%d is gone", gone))
	default:
		b.answer(o.id, "")
	}
}
