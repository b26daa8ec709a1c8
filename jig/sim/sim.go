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
//
// The way through the package, in the order in which data flow:
//
//   - config.go: [Config] and [Scatter]; wire.go: [Faults], and the noise of a line
//     (noise); random.go: random numbers by purpose.
//   - strings.go: steel and wraps of a string, and how it swings ([String]).
//   - mounted.go: what is on the jig ([Mounted], [Pole], [Batch]).
//   - coil.go: the field of a current in the coil (coil).
//   - rods.go: poles that magnetise one another and that the coil magnetises (rods).
//   - flux.go: the flux that a swinging string sends through the coil (pickup).
//   - practice.go: mountings, the people who mount, and days ([Practice]).
//   - bench.go: what the jig would measure of what is mounted (bench).
//   - state.go: the jig between two steps ([Jig]).
//   - take.go: one reading; command.go: what a command does; power.go: what is due
//     when, and what a jig forgets when it is switched off.
//   - serve.go, terminal.go, pty_unix.go, pty_other.go: the jig on a port.
//   - sim.go: [New], [Jig.Mount], and the log of all readings.
package sim

import (
	"slices"
	"time"

	"evenpole/jig"
)

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

// Mount puts something on the jig in place of what was there. Each mounting is
// a little off in height. A string without a height, a pole or a gauge is a
// mistake of the caller: Mount panics.
func (j *Jig) Mount(m Mounted) {
	m = m.withDefaults()
	j.mu.Lock()
	defer j.mu.Unlock()
	j.mount(m)
}

func (j *Jig) mount(m Mounted) {
	j.mounts++
	j.mountedAt = j.made
	now := j.cfg.Practice.mounting(j.mounts)
	j.bench = newBench(m, j.cfg, j.scatter, now)
	if j.cfg.Practice.Told != nil {
		j.cfg.Practice.Told(now)
	}
}

// Log returns every reading that was made, in order: the truth of what ought to
// be in a record.
func (j *Jig) Log() []jig.Reading {
	j.mu.Lock()
	defer j.mu.Unlock()
	return slices.Clone(j.log)
}

// TrueLevels returns the RMS level in mV of each string on the jig, as the
// magnets and strings that are there would give it at the heights that the
// mount states: without hum, scatter of plucks and slots, and errors of height.
func (j *Jig) TrueLevels() []float64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	return slices.Clone(j.bench.truth)
}

// TrueFields returns the flux density in T at the probe by position: over the poles with
// their neighbours in place, or over loose magnets, each on its own.
func (j *Jig) TrueFields() []float64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	return slices.Clone(j.bench.fields)
}
