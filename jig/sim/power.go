package sim

import (
	"fmt"
	"time"

	"evenpole/jig"
)

const (
	statusEvery = time.Second
	maxWaiting  = 4   // commands, beside the one that runs
	memorySize  = 256 // readings
)

// takes is how long one reading takes: the string has to come to rest before.
var takes = map[jig.Verb]time.Duration{
	jig.VerbPluck: 4 * time.Second,
	jig.VerbDrive: 2 * time.Second,
	jig.VerbQuiet: 1500 * time.Millisecond,
	jig.VerbField: 4 * time.Second,
}

// power is what a jig forgets when it is switched off.
type power struct {
	boot     jig.Boot
	seq      uint32        // used last
	since    time.Duration // when it was switched on
	statusAt time.Duration
	queue    []job // the first one runs
	answers  map[uint32]jig.Answer
	memory   []jig.Line // readings, oldest first
}

// job is a command that runs or waits.
type job struct {
	jig.Command
	taken int           // takes that are done
	due   time.Duration // end of the next one, once it runs
}

// powerUp starts the jig afresh.
func (j *Jig) powerUp() {
	j.boots++
	j.power = power{
		boot:     j.newBoot(),
		since:    j.now,
		statusAt: j.now + statusEvery,
		answers:  map[uint32]jig.Answer{},
	}
	if j.boots == 1 {
		j.power.seq = j.cfg.FirstSeq - 1
	}
	j.identify()
}

// newBoot is a number that is new each time: the odd step goes through all 2^32
// of them.
func (j *Jig) newBoot() jig.Boot {
	first := j.cfg.Boot
	if first == 0 {
		first = jig.Boot(source(j.cfg.Seed, "boot").Uint32())
	}
	return first + jig.Boot(j.boots-1)*0x9E3779B1
}

// step does, in order, all that is due by now. It stops short when the port is
// lost: the rest is done when there is one again.
func (j *Jig) step(now time.Duration) {
	for !j.hungUp {
		due := j.next()
		if due > now {
			j.now = now
			return
		}
		j.now = due
		if due == j.power.statusAt {
			j.power.statusAt += statusEvery
			j.emit(jig.Line{Kind: jig.KindStatus, Status: jig.Status{Boot: j.power.boot, Seq: j.power.seq, Millis: j.millis()}})
			continue
		}
		j.work()
	}
}

// next is when the next thing is due.
func (j *Jig) next() time.Duration {
	if q := j.power.queue; len(q) > 0 {
		return min(q[0].due, j.power.statusAt)
	}
	return j.power.statusAt
}

// millis is the jig's clock; it wraps.
func (j *Jig) millis() uint32 { return uint32((j.now - j.power.since).Milliseconds()) }

// work ends one take of the command that runs.
func (j *Jig) work() {
	job := &j.power.queue[0]
	if jam := j.cfg.Faults.JamAfter; jam > 0 && j.made >= jam && job.Verb == jig.VerbPluck {
		j.cfg.Faults.JamAfter = 0
		j.finish(job.Command, jig.Mechanical, "plucker jammed")
		j.shift()
		return
	}
	job.taken++
	job.due += takes[job.Verb]
	j.keep(j.measure(job.Command, job.taken))
	if job.taken == job.Count {
		j.finish(job.Command, jig.Done, "")
		j.shift()
	}
	j.mishap()
}

// keep remembers a reading and sends it.
func (j *Jig) keep(l jig.Line) {
	j.made++
	j.power.memory = append(j.power.memory, l)
	if len(j.power.memory) > memorySize {
		j.power.memory = j.power.memory[1:]
	}
	if l.Kind == jig.KindField {
		j.fields = append(j.fields, l.Field)
	} else {
		j.log = append(j.log, l.Reading)
	}
	j.emit(l)
}

// mishap makes the faults happen whose reading it was.
func (j *Jig) mishap() {
	switch j.made {
	case j.cfg.Faults.RestartAfter:
		j.powerUp()
	case j.cfg.Faults.HangUpAfter:
		j.hungUp = true
	}
}

// shift goes on to the next command.
func (j *Jig) shift() {
	j.power.queue = j.power.queue[1:]
	j.start()
}

// start sets the first command in the queue going.
func (j *Jig) start() {
	if q := j.power.queue; len(q) > 0 {
		q[0].due = j.now + takes[q[0].Verb]
	}
}

// arrive acts on a command. IDENT and RESEND are answered between the takes of
// the command that runs.
func (j *Jig) arrive(c jig.Command) {
	p := &j.power
	answer, finished := p.answers[c.ID]
	switch {
	case c.Verb == jig.VerbStop && c.Refuse == jig.Done:
		j.stop(c)
	case c.Verb == jig.VerbIdent && c.Refuse == jig.Done:
		clear(p.answers)
		j.identify()
		j.finish(c, jig.Done, "")
	case j.holds(c.ID):
	case finished:
		j.emit(jig.Line{Kind: jig.KindAnswer, Answer: answer})
	default:
		j.accept(c)
	}
}

// holds tells whether a command runs or waits.
func (j *Jig) holds(id uint32) bool {
	for _, job := range j.power.queue {
		if job.ID == id {
			return true
		}
	}
	return false
}

// accept refuses a new command, does it or queues it.
func (j *Jig) accept(c jig.Command) {
	if code, text := j.refusal(c); code != jig.Done {
		j.finish(c, code, text)
		return
	}
	if c.Verb == jig.VerbResend {
		j.resend(c)
		return
	}
	p := &j.power
	if len(p.queue) > maxWaiting {
		j.finish(c, jig.Busy, "queue is full")
		delete(p.answers, c.ID)
		return
	}
	p.queue = append(p.queue, job{Command: c})
	if len(p.queue) == 1 {
		j.start()
	}
}

// refusal says why a command cannot be done.
func (j *Jig) refusal(c jig.Command) (jig.Code, string) {
	switch c.Refuse {
	case jig.UnknownCommand:
		return c.Refuse, "unknown command"
	case jig.BadArgument:
		return c.Refuse, "bad argument of " + c.Verb.String()
	}
	switch c.Verb {
	case jig.VerbPluck, jig.VerbDrive, jig.VerbQuiet:
		return j.stringRefusal(c)
	case jig.VerbField:
		n := len(j.bench.fields)
		if n == 0 {
			return jig.NotAvailable, "nothing under the probe"
		}
		if c.Position < 1 || c.Position > n {
			return jig.BadArgument, fmt.Sprintf("position %d of %d", c.Position, n)
		}
	}
	return jig.Done, ""
}

// stringRefusal is the refusal of a command that is about a string.
func (j *Jig) stringRefusal(c jig.Command) (jig.Code, string) {
	driven := j.cfg.Excite == jig.Drive
	switch n := j.strings(); {
	case c.String > n:
		return jig.BadArgument, fmt.Sprintf("string %d of %d", c.String, n)
	case c.Verb == jig.VerbPluck && driven:
		return jig.NotAvailable, "no plucker"
	case c.Verb == jig.VerbDrive && !driven:
		return jig.NotAvailable, "no exciter"
	case c.String > len(j.bench.Strings):
		return jig.NotAvailable, fmt.Sprintf("no string %d is mounted", c.String)
	}
	return jig.Done, ""
}

// strings is how many strings the jig can pluck.
func (j *Jig) strings() int {
	switch {
	case j.cfg.Strings > 0:
		return j.cfg.Strings
	case len(j.bench.Strings) > 0:
		return len(j.bench.Strings)
	}
	return 6
}

// stop ends what runs and what waits.
func (j *Jig) stop(c jig.Command) {
	for _, job := range j.power.queue {
		j.finish(job.Command, jig.Stopped, "stopped")
	}
	j.power.queue = nil
	j.finish(c, jig.Done, "")
}

// resend sends what is remembered of a range.
func (j *Jig) resend(c jig.Command) {
	p := &j.power
	if c.Boot != p.boot {
		j.finish(c, jig.NotAvailable, gone(c.From))
		return
	}
	next := c.From // that is not sent yet
	found := true
	for _, l := range p.memory {
		seq := l.Reading.Seq
		if l.Kind == jig.KindField {
			seq = l.Field.Seq
		}
		if seq-c.From > c.To-c.From {
			continue
		}
		j.emit(l)
		if found = found && seq == next; found {
			next++
		}
	}
	if next != c.To+1 {
		j.finish(c, jig.NotAvailable, gone(next))
		return
	}
	j.finish(c, jig.Done, "")
}

func gone(seq uint32) string { return fmt.Sprintf("%d is gone", seq) }

// identify sends the I line.
func (j *Jig) identify() {
	j.emit(jig.Line{Kind: jig.KindIdent, Ident: jig.Ident{
		Jig: j.cfg.ID, Boot: j.power.boot, Firmware: j.cfg.Firmware,
		Strings: j.strings(), FullScaleUV: j.cfg.FullScaleUV, Excite: j.cfg.Excite,
	}})
}

// finish answers a command and remembers the answer.
func (j *Jig) finish(c jig.Command, code jig.Code, text string) {
	answer := jig.Answer{ID: c.ID, Code: code, Text: text}
	j.power.answers[c.ID] = answer
	j.emit(jig.Line{Kind: jig.KindAnswer, Answer: answer})
}

// emit hands a line to the wire, if there is one.
func (j *Jig) emit(l jig.Line) {
	if j.served && !j.hungUp {
		j.out = j.toHost.pass(j.out, l.AppendLine(nil))
	}
}

// decode acts on the commands in p. What is not a sound command gets no answer.
func (j *Jig) decode(p []byte) {
	j.decoder.Feed(p, func(l *jig.Line) {
		if l.Kind == jig.KindCommand {
			j.arrive(l.Command)
		}
	}, func(*jig.BadLine) {})
}
