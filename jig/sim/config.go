package sim

import "evenpole/jig"

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
	Practice    Practice
	Faults      Faults
}

// Scatter is how far repeated things differ. Relative figures are standard deviations
// of the logarithm.
type Scatter struct {
	Pluck   float64         // relative, from take to take
	Worn    map[int]float64 // by string: so many times the scatter of its plucks, as of a worn plectrum
	Channel float64         // relative, from one slot of the jig to the next
	String  float64         // relative, of a core's diameter
	Height  float64         // mm, string heights of a mounting: all together, and each by half of it
	Drift   float64         // relative, slow, over hundreds of takes
	Probe   float64         // relative, of a field reading
	Hum     float64         // mV RMS with nothing moving

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

// worn is by how much a string's plucks scatter more than the others'.
func (s *Scatter) worn(number int) float64 {
	if times, ok := s.Worn[number]; ok {
		return times
	}
	return 1
}

func setDefault[T comparable](v *T, value T) {
	var zero T
	if *v == zero {
		*v = value
	}
}
