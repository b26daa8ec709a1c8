package fit

import (
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// Setup is a whole pickup under its strings, but for the heights of its poles:
// all that a prediction needs to know.
type Setup struct {
	Strings          []profiles.String // string 1 first
	StringHeights    []float64         // mm, underside over the bobbin plane
	Spacing          float64           // mm between neighbouring poles, centre to centre
	Poles            profiles.PoleKind
	Batch            string
	Magnets          []string            // which magnet stands under which string; nil when not known
	ScaleLength      float64             // mm, 0 when not known
	PickupFromBridge float64             // mm, 0 when not known
	Excite           profiles.Excitation // how it will be played; "" = as the jig plucks
}

// Predictor is what package plan needs of a model, whichever kind it is.
type Predictor interface {
	// Level writes the mean prediction of ln v (v in RMS mV) of every string
	// into dst, for poles of the given heights (mm), and returns dst; a nil dst
	// is allocated. It is cheap: planning calls it many times.
	Level(dst []float64, s *Setup, heights []float64) []float64
	// Uncertainty returns the covariance of the errors of Level (ln v) for one
	// built pickup whose poles have exactly these heights: the model's own
	// uncertainty, plus what differs from one built pickup to the next (magnets
	// that were not matched, strings within their tolerance). A part that all
	// strings share does not matter to balance and may be left out.
	Uncertainty(s *Setup, heights []float64) *mat.SymDense
	// Warnings says in plain words where this setup at these heights goes
	// beyond what the model has seen or can tell.
	Warnings(s *Setup, heights []float64) []string
	// Source is "shop data" or "handbook prior".
	Source() string
}

// PlayedBy is the excitation that a prediction is for: as ordered, else as it
// was measured. Nobody plays with an exciter: then a fixed force stands for it.
func (s *Setup) PlayedBy(measured profiles.Excitation) profiles.Excitation {
	switch {
	case s.Excite != "":
		return s.Excite
	case measured == profiles.Drive:
		return profiles.Force
	}
	return measured
}
