package sim

import (
	"math"
	"time"

	"evenpole/jig"
)

const (
	statusEvery = time.Second
	memorySize  = 256 // readings
)

// powerUp starts the jig afresh.
func (j *Jig) powerUp() {
	j.boots++
	j.muteTo = 0
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
		if l := j.power.late; len(l) > 0 && due == l[0].due {
			j.power.late = l[1:]
			j.reply(l[0].answer)
			continue
		}
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
	next := j.power.statusAt
	if q := j.power.queue; len(q) > 0 {
		next = min(next, q[0].due)
	}
	if l := j.power.late; len(l) > 0 {
		next = min(next, l[0].due)
	}
	return next
}

// work ends one take of the command that runs.
func (j *Jig) work() {
	job := &j.power.queue[0]
	if code, text := j.refusal(job.Command); code != jig.Done { // something else was mounted meanwhile
		j.finish(job.Command, code, text)
		j.shift()
		return
	}
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
	if !j.cfg.Faults.NoResend {
		j.remember(l)
	}
	if l.Kind != jig.KindField {
		j.log = append(j.log, l.Reading)
	}
	if j.made == j.cfg.Faults.CutAfter {
		j.emitHalf(l)
		return
	}
	j.emit(l)
}

// remember keeps a reading for RESEND.
func (j *Jig) remember(l jig.Line) {
	j.power.memory = append(j.power.memory, l)
	if len(j.power.memory) > memorySize {
		j.power.memory = j.power.memory[1:]
	}
}

// mishap makes the faults happen whose reading it was.
func (j *Jig) mishap() {
	f := &j.cfg.Faults
	switch j.made {
	case f.RestartAfter, f.CutAfter:
		j.powerUp()
	case f.HangUpAfter:
		j.hungUp = true
	case f.MuteAfter:
		j.muteTo = math.MaxInt64
		if f.Mute > 0 {
			j.muteTo = j.now + f.Mute
		}
	}
}

// shift goes on to the next command.
func (j *Jig) shift() {
	j.power.queue = j.power.queue[1:]
	j.start()
}
