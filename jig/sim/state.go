package sim

import (
	"math"
	"sync"
	"time"

	"evenpole/jig"
)

// Jig is a simulated jig. It is switched on by the first Serve and then goes
// on, with a port or without. Its methods may be called from several
// goroutines.
type Jig struct {
	cfg     Config
	scatter Scatter
	began   time.Time

	mu        sync.Mutex
	bench     bench
	mounts    int           // how often something was mounted
	mountedAt int           // readings that had been made by then
	now       time.Duration // simulated, since began
	boots     int           // power-ups
	power     power
	made      int     // readings of all power-ups
	drift     float64 // as the logarithm
	log       []jig.Reading
	served    bool
	hungUp    bool
	muteTo    time.Duration // deaf and mute until then
	out       []byte        // to be sent
	wake      chan struct{} // has a place when there may be something to send
	toHost    noise
	toJig     noise
	decoder   *jig.Decoder
}

// power is what a jig forgets when it is switched off.
type power struct {
	boot     jig.Boot
	seq      uint32        // used last
	since    time.Duration // when it was switched on
	statusAt time.Duration
	queue    []job // the first one runs
	answers  map[uint32]jig.Answer
	last     jig.Answer
	late     []late     // oldest first
	memory   []jig.Line // readings, oldest first
}

// late is an answer that is held back.
type late struct {
	due    time.Duration
	answer jig.Answer
}

// job is a command that runs or waits.
type job struct {
	jig.Command
	taken int           // takes that are done
	due   time.Duration // end of the next one, once it runs
}

// takes is how long one reading takes: the string has to come to rest before.
var takes = map[jig.Verb]time.Duration{
	jig.VerbPluck: 4 * time.Second,
	jig.VerbDrive: 2 * time.Second,
	jig.VerbQuiet: 1500 * time.Millisecond,
	jig.VerbField: 4 * time.Second,
}

// clock is the simulated time.
func (j *Jig) clock() time.Duration {
	return time.Duration(float64(time.Since(j.began)) * j.cfg.Speed)
}

// wall turns simulated into real time, rounded up.
func (j *Jig) wall(d time.Duration) time.Duration {
	return time.Duration(math.Ceil(float64(d) / j.cfg.Speed))
}

// millis is the jig's clock; it wraps.
func (j *Jig) millis() uint32 {
	ms := uint32((j.now - j.power.since).Milliseconds())
	if j.boots == 1 {
		ms += j.cfg.Clock
	}
	return ms
}

// start sets the first command in the queue going.
func (j *Jig) start() {
	if q := j.power.queue; len(q) > 0 {
		q[0].due = j.now + takes[q[0].Verb]
	}
}

// nudge has attend look at once.
func (j *Jig) nudge() {
	select {
	case j.wake <- struct{}{}:
	default: // it has not looked since the last one, and will
	}
}
