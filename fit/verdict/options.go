package verdict

import (
	"iter"
	"time"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/profiles"
)

// Options are what a shop may set. The zero value is the usual.
type Options struct {
	// Mounting is the standard uncertainty, dB, that setting the string heights
	// and mounting the pickup gives each string's level; 0 means 0.15. The
	// default is our assumption, not a measurement: 0.05 mm of setting error at
	// 3 dB per mm. A repeat study measures it (package repeat).
	Mounting float64
	// Channel is the standard uncertainty, dB, that correcting a jig's channels
	// leaves in each string's level at a time; nil when none are corrected.
	Channel func(jig string, at time.Time) float64
	// Conversion is the standard uncertainty, dB, that each string's level gets
	// in addition when it is converted to another excitation; 0 means 0.2. The
	// default is our assumption: a string's mass is known to some 2 % from its
	// diameters.
	Conversion float64
	// Coverage is that of U: the chance that the true deviation lies within
	// it; 0 means 0.95.
	Coverage float64
	// Bench compares the pickup with what a model expects of it; nil when it is
	// not compared.
	Bench *Bench
	// Slope is by how much each string's level rises for each mm that its pole
	// rises, dB per mm, string 1 first. With it a remedy says how far; nil means
	// the Bench's, if there is one.
	Slope []float64
	// Resistance is what a meter said of the coil; nil when it was not measured.
	Resistance *Measured
}

// The defaults of Options.
const (
	mountingSD   = 0.15 // dB
	conversionSD = 0.2  // dB
	coverage     = 0.95
)

func (o Options) withDefaults() Options {
	for _, f := range []struct {
		value *float64
		usual float64
	}{{&o.Mounting, mountingSD}, {&o.Conversion, conversionSD}, {&o.Coverage, coverage}} {
		if *f.value == 0 {
			*f.value = f.usual
		}
	}
	return o
}

// Bench is what a pickup is compared with: what the shop's model expects of a
// pickup with these heights under these strings, and what else is known of it.
type Bench struct {
	Model  fit.Model                             // nil when only the fields are known
	Sets   []profiles.StringSet                  // of which a wrong string may be
	Fields iter.Seq2[record.FieldReading, error] // the shop's; nil when there are none
}
