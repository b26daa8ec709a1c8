package jigtest

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Error codes of an E line.
const (
	unknown      = 1
	badArgument  = 2
	notAvailable = 3
	jammed       = 4
	stopped      = 5
	busy         = 6
)

// positions is how many places the probe can go to.
const positions = 99

// command is one command of the host.
type command struct {
	id   uint64
	verb string
	args []string

	target   int // string or position
	freq     int // mHz
	count    int // takes wanted
	boot     uint64
	from, to uint32

	taken int
	due   time.Time // of the next take, or of the answer
	slip  Slip
}

// refusal is why a command is not done: the code and text of its E line.
type refusal struct {
	code int
	text string
}

// parse reads a body `C,<id>,<verb>...`. Without a usable id there is nobody to
// answer, and ok is false.
func parse(body string) (c *command, ok bool) {
	fields := strings.Split(body, ",")
	if len(fields) < 3 || fields[0] != "C" {
		return nil, false
	}
	id, err := strconv.ParseUint(fields[1], 10, 64)
	if err != nil {
		return nil, false
	}
	return &command{id: id, verb: fields[2], args: fields[3:]}, true
}

// understand reads a command's arguments as this jig can use them.
func (j *Jig) understand(c *command) *refusal {
	switch c.verb {
	case "IDENT", "STOP":
		return c.numbers()
	case "PLUCK":
		return first(c.available(j.cfg.Excite != "drive"), c.numbers(&c.target, &c.count), c.check(j.cfg.Strings))
	case "DRIVE":
		return first(c.available(j.cfg.Excite == "drive"), c.numbers(&c.target, &c.freq, &c.count), c.check(j.cfg.Strings))
	case "QUIET":
		return first(c.numbers(&c.target, &c.count), c.check(j.cfg.Strings))
	case "FIELD":
		return first(c.available(!j.cfg.NoProbe), c.numbers(&c.target, &c.count), c.check(positions))
	case "RESEND":
		return c.gap()
	}
	return &refusal{unknown, "unknown command"}
}

// first returns the first reason there is.
func first(reasons ...*refusal) *refusal {
	for _, r := range reasons {
		if r != nil {
			return r
		}
	}
	return nil
}

func (c *command) available(yes bool) *refusal {
	if yes {
		return nil
	}
	return &refusal{notAvailable, strings.ToLower(c.verb) + " is not fitted"}
}

// numbers reads all arguments as decimal numbers.
func (c *command) numbers(into ...*int) *refusal {
	if len(c.args) != len(into) {
		return &refusal{badArgument, fmt.Sprintf("%d arguments wanted", len(into))}
	}
	for i, arg := range c.args {
		n, err := strconv.ParseUint(arg, 10, 31)
		if err != nil {
			return &refusal{badArgument, fmt.Sprintf("argument %d is no number", i+1)}
		}
		*into[i] = int(n)
	}
	return nil
}

// check refuses a target that is not there and a count of nothing.
func (c *command) check(targets int) *refusal {
	switch {
	case c.target < 1 || c.target > targets:
		return &refusal{badArgument, "no such string or position"}
	case c.count < 1:
		return &refusal{badArgument, "count below 1"}
	case c.verb == "DRIVE" && c.freq < 1:
		return &refusal{badArgument, "frequency below 1"}
	}
	return nil
}

// gap reads the arguments of a RESEND. Sequence numbers wrap, so a range runs
// forward from its first to its last by less than half of them.
func (c *command) gap() *refusal {
	if len(c.args) != 3 {
		return &refusal{badArgument, "3 arguments wanted"}
	}
	boot, errBoot := strconv.ParseUint(c.args[0], 16, 32)
	from, errFrom := strconv.ParseUint(c.args[1], 10, 32)
	to, errTo := strconv.ParseUint(c.args[2], 10, 32)
	if len(c.args[0]) != 8 || errBoot != nil || errFrom != nil || errTo != nil {
		return &refusal{badArgument, "boot or range is no number"}
	}
	c.boot, c.from, c.to = boot, uint32(from), uint32(to)
	if c.to-c.from >= 1<<31 {
		return &refusal{badArgument, "range runs backwards"}
	}
	return nil
}

// arrive acts on a line of the host.
func (j *Jig) arrive(line string, now time.Time) {
	j.step(now)
	if j.hungUp || !j.wake.IsZero() || j.now.Before(j.silent) {
		return
	}
	body, ok := unframe(line)
	if !ok {
		return
	}
	c, ok := parse(body)
	if !ok {
		return
	}
	j.heard++
	c.slip = j.cfg.AtCommand[j.heard]
	if c.slip.Deaf {
		return
	}
	if c.slip.Stale {
		j.emit(j.last)
	}
	j.accept(c)
	j.step(now)
}

// accept does a command, or queues it, or says why not.
func (j *Jig) accept(c *command) {
	reason := j.understand(c)
	if c.verb == "STOP" && reason == nil {
		j.stop(c)
		return
	}
	ident := c.verb == "IDENT" && reason == nil
	if ident {
		clear(j.answers)
	}
	if j.queued(c, ident) {
		return
	}
	if old, ok := j.answers[c.id]; ok {
		j.emit(old)
		return
	}
	switch {
	case reason != nil:
		j.finish(c, reason)
	case !ident && j.refuses(c):
		j.emit(answer(c.id, &refusal{busy, "busy"})) // not remembered: the host may ask again
	case j.prompt(c):
		j.finish(c, j.carryOut(c))
	default:
		j.queue = append(j.queue, c)
		if len(j.queue) == 1 {
			j.begin()
		}
	}
}

// queued tells whether the command runs or waits already. An IDENT is only the
// same as another IDENT: a host that has just opened the port cannot know which
// ids an earlier one left behind.
func (j *Jig) queued(c *command, ident bool) bool {
	for _, q := range j.queue {
		if q.id == c.id && (!ident || q.verb == "IDENT") {
			return true
		}
	}
	return false
}

// refuses tells whether there is no room for a command, or as good as none.
func (j *Jig) refuses(c *command) bool {
	full := len(j.queue) > j.cfg.Queue && !j.prompt(c)
	return full || c.slip.Busy || happens(j.noise, j.cfg.Busy)
}

// prompt tells whether a command is done between the takes of the running one.
func (j *Jig) prompt(c *command) bool {
	return j.cfg.Prompt && len(j.queue) > 0 && c.count == 0
}

// stop ends everything that runs or waits.
func (j *Jig) stop(c *command) {
	for _, q := range j.queue {
		j.finish(q, &refusal{stopped, "stopped"})
	}
	j.queue = nil
	j.finish(c, nil)
}

// begin sets the first command of the queue going.
func (j *Jig) begin() {
	if len(j.queue) == 0 {
		return
	}
	c := j.queue[0]
	c.due = j.now.Add(j.cfg.TakeTime)
	if c.count == 0 {
		c.due = j.now.Add(c.slip.Delay)
	}
}

// work does what is due of the running command.
func (j *Jig) work() {
	c := j.queue[0]
	if c.taken == c.count {
		j.end(j.carryOut(c))
		return
	}
	c.taken++
	c.due = j.now.Add(j.cfg.TakeTime)
	if c.taken == c.count {
		c.due = j.now.Add(c.slip.Delay)
	}
	j.record(j.measure(c))
}

// end answers the running command and begins the next.
func (j *Jig) end(reason *refusal) {
	c := j.queue[0]
	j.queue = j.queue[1:]
	j.finish(c, reason)
	j.begin()
}

// carryOut does what a command does beside its takes.
func (j *Jig) carryOut(c *command) *refusal {
	switch c.verb {
	case "IDENT":
		j.identify()
	case "RESEND":
		return j.resend(c)
	}
	return nil
}

// resend sends again what is left of a range.
func (j *Jig) resend(c *command) *refusal {
	kept := map[uint32]bool{}
	for _, e := range j.memory {
		if uint64(j.bootNumber()) == c.boot && e.Seq-c.from <= c.to-c.from {
			kept[e.Seq] = true
			j.emit(e.body())
		}
	}
	if span := uint64(c.to-c.from) + 1; uint64(len(kept)) == span {
		return nil
	}
	gone := c.from
	for kept[gone] {
		gone++
	}
	return &refusal{notAvailable, fmt.Sprintf("%d is gone", gone)}
}

// finish answers a command and remembers the answer.
func (j *Jig) finish(c *command, reason *refusal) {
	j.last = answer(c.id, reason)
	j.answers[c.id] = j.last
	if !c.slip.Mute {
		j.emit(j.last)
	}
}

// answer returns the body of an A line, or of an E line if there is a reason.
func answer(id uint64, reason *refusal) string {
	if reason == nil {
		return fmt.Sprintf("A,%d", id)
	}
	return fmt.Sprintf("E,%d,%d,%s", id, reason.code, reason.text)
}
