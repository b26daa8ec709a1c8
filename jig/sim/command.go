package sim

import (
	"fmt"

	"evenpole/jig"
)

// maxWaiting is how many commands may wait beside the one that runs.
const maxWaiting = 4

// decode acts on the commands in p. What is not a sound command gets no answer.
func (j *Jig) decode(p []byte) {
	j.decoder.Feed(p, func(l *jig.Line) {
		if l.Kind == jig.KindCommand {
			j.arrive(l.Command)
		}
	}, func(*jig.BadLine) {})
}

// arrive acts on a command. IDENT and RESEND are answered between the takes of
// the command that runs.
func (j *Jig) arrive(c jig.Command) {
	if j.now < j.muteTo {
		return
	}
	p := &j.power
	answer, finished := p.answers[c.ID]
	switch {
	case c.Verb == jig.VerbStop && c.Refuse == jig.Done:
		j.stop(c)
	case c.Verb == jig.VerbIdent && c.Refuse == jig.Done:
		clear(p.answers)
		j.arrived()
		j.identify()
		j.finish(c, jig.Done, "")
	case j.holds(c.ID):
	case finished:
		j.reply(answer)
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
		Jig: j.cfg.ID, Boot: j.power.boot, Firmware: j.firmware(),
		Strings: j.strings(), FullScaleUV: j.cfg.FullScaleUV, Excite: j.cfg.Excite,
	}})
}

// finish answers a command and remembers the answer.
func (j *Jig) finish(c jig.Command, code jig.Code, text string) {
	answer := jig.Answer{ID: c.ID, Code: code, Text: text}
	j.power.answers[c.ID] = answer
	if d := j.cfg.Faults.SlowAnswer; d > 0 {
		j.power.late = append(j.power.late, late{j.now + d, answer})
		return
	}
	j.reply(answer)
}

// reply sends an answer, and may be an old one before it.
func (j *Jig) reply(a jig.Answer) {
	if j.power.last.ID > 0 && j.toHost.happens(j.cfg.Faults.OldAnswer) {
		j.emit(jig.Line{Kind: jig.KindAnswer, Answer: j.power.last})
	}
	j.power.last = a
	j.emit(jig.Line{Kind: jig.KindAnswer, Answer: a})
}

// emit hands a line to the wire, if there is one.
func (j *Jig) emit(l jig.Line) {
	if j.heard() {
		j.out = j.toHost.pass(j.out, l.AppendLine(nil))
	}
}

// emitHalf hands the first half of a line to the wire: its end never comes.
func (j *Jig) emitHalf(l jig.Line) {
	if line := l.AppendLine(nil); j.heard() {
		j.out = append(j.out, line[:len(line)/2]...)
	}
}

// heard tells whether what the jig says goes anywhere.
func (j *Jig) heard() bool { return j.served && !j.hungUp && j.now >= j.muteTo }
