// Package sim is a simulated jig: the demo's and the tests' instrument, and
// something for firmware writers to talk to. It speaks the line protocol on a
// real pseudo-terminal (in process where the system has none), takes its
// levels from the exact field of the magnets and the steel in the strings, and
// misbehaves on demand.
//
// It is deliberately not the model that package fit uses: its constants and its
// mechanisms (saturation, neighbouring poles, scatter of magnets, strings and
// plucks, drift, hum, clipping, double strikes) are its own.
//
// The same seed, mounts and commands give the same readings, whatever the
// speed; only the jig's clock follows real time.
package sim

import (
	"math"
	"slices"
	"sync"
	"time"

	"evenpole/jig"
)

// Config describes a jig. Zero values mean the defaults.
type Config struct {
	ID          string     // "sim-1"
	Seed        uint64     // of all that is drawn
	Speed       float64    // 1, real time; 50 is fifty times faster
	Excite      jig.Excite // jig.Travel
	Strings     int        // how many it can pluck; 0: as many as are mounted, 6 when none are
	FullScaleUV int64      // µV, 2 V
	Firmware    string     // "sim"
	Boot        jig.Boot   // of the first power-up; 0: drawn
	FirstSeq    uint32     // of the first reading of the first power-up; 0: 1
	Clock       uint32     // ms that the jig's clock shows at the first power-up
	Scatter     *Scatter   // nil: Ordinary; &Scatter{} is a jig that is never wrong
	Faults      Faults
}

// Scatter is what is never quite the same twice. Relative figures are standard
// deviations of the logarithm.
type Scatter struct {
	Pluck   float64 // relative, from take to take
	Channel float64 // relative, from one slot of the jig to the next
	String  float64 // relative, of a core's diameter
	Height  float64 // mm, string heights of a mounting: all together, and each by half of it
	Drift   float64 // relative, slow, over hundreds of takes
	Probe   float64 // relative, of a field reading
	Hum     float64 // mV RMS with nothing moving

	DoubleStrike float64 // chance of a take to be struck twice
	Unnoticed    float64 // chance that the jig does not flag it
	ShortWindow  float64 // chance of a take to be cut short
	Fault        float64 // chance of a take to go wrong mechanically
}

// Ordinary is the scatter of a decent jig: figures of our own choosing.
func Ordinary() Scatter {
	return Scatter{
		Pluck: 0.02, Channel: 0.01, String: 0.004, Height: 0.04, Drift: 0.01, Probe: 0.003, Hum: 0.35,
		DoubleStrike: 0.02, Unnoticed: 0.2, ShortWindow: 0.003, Fault: 0.002,
	}
}

// Jig is a simulated jig. It is switched on by the first Serve and then goes
// on, with a port or without. Its methods may be called from several
// goroutines.
type Jig struct {
	cfg     Config
	scatter Scatter
	began   time.Time

	mu      sync.Mutex
	bench   bench
	mounts  int           // how often something was mounted
	now     time.Duration // simulated, since began
	boots   int           // power-ups
	power   power
	made    int     // readings of all power-ups
	drift   float64 // as the logarithm
	log     []jig.Reading
	fields  []jig.Field
	served  bool
	hungUp  bool
	muteTo  time.Duration // deaf and mute until then
	out     []byte        // to be sent
	wake    chan struct{} // has a place when there may be something to send
	toHost  noise
	toJig   noise
	decoder *jig.Decoder
}

// New returns a jig with nothing on it, switched off.
func New(cfg Config) *Jig {
	setDefault(&cfg.ID, "sim-1")
	setDefault(&cfg.Speed, 1)
	setDefault(&cfg.Excite, jig.Travel)
	setDefault(&cfg.FullScaleUV, 2_000_000)
	setDefault(&cfg.Firmware, "sim")
	setDefault(&cfg.FirstSeq, 1)
	scatter := Ordinary()
	if cfg.Scatter != nil {
		scatter = *cfg.Scatter
	}
	return &Jig{
		cfg:     cfg,
		scatter: scatter,
		began:   time.Now(),
		toHost:  noise{faults: cfg.Faults, random: source(cfg.Seed, "to host")},
		toJig:   noise{faults: cfg.Faults, random: source(cfg.Seed, "to jig")},
		wake:    make(chan struct{}, 1),
	}
}

func setDefault[T comparable](v *T, value T) {
	var zero T
	if *v == zero {
		*v = value
	}
}

// Mount puts something on the jig in place of what was there. Each mounting is
// a little off in height. A string without a height, a pole or a gauge is a
// mistake of the caller: Mount panics.
func (j *Jig) Mount(m Mounted) {
	m = m.withDefaults()
	j.mu.Lock()
	defer j.mu.Unlock()
	j.mounts++
	j.bench = newBench(m, j.cfg, j.scatter, j.mounts)
}

// Restart switches the jig off and on: a new boot, nothing remembered. It does
// nothing to a jig that is off.
func (j *Jig) Restart() {
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

// Log returns every reading that was made, in order: the truth of what ought to
// be in a record.
func (j *Jig) Log() []jig.Reading {
	j.mu.Lock()
	defer j.mu.Unlock()
	return slices.Clone(j.log)
}

// FieldLog returns every field reading that was made, in order.
func (j *Jig) FieldLog() []jig.Field {
	j.mu.Lock()
	defer j.mu.Unlock()
	return slices.Clone(j.fields)
}

// TrueLevels returns the RMS level in mV of each string on the jig, as the
// magnets and strings that are there would give it at the heights that the
// mount states: without hum, scatter of plucks and slots, and errors of height.
func (j *Jig) TrueLevels() []float64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	return slices.Clone(j.bench.truth)
}

// clock is the simulated time.
func (j *Jig) clock() time.Duration {
	return time.Duration(float64(time.Since(j.began)) * j.cfg.Speed)
}

// wall turns simulated into real time, rounded up.
func (j *Jig) wall(d time.Duration) time.Duration {
	return time.Duration(math.Ceil(float64(d) / j.cfg.Speed))
}
