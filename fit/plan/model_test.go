package plan

import (
	"math"

	"evenpole/fit"
	"evenpole/fit/level"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// bench is a predictor for tests: a curve for each string, a share that it
// hears of its neighbours' poles, and a covariance.
type bench struct {
	curve    func(i int, height float64) float64 // ln v
	hears    float64                             // of each neighbouring pole, ln v per mm, bent
	byGap    bool                                // a string's height over 3 mm counts as a lower pole
	steel    bool                                // level goes with the string's gauge, 0 dB at 0.3 mm
	magnets  map[string]float64                  // dB that a magnet adds to the string over it
	cov      *mat.SymDense                       // nil: nothing is uncertain
	warnings []string
}

func (b bench) Level(dst []float64, s *fit.Setup, heights []float64) []float64 {
	if dst == nil {
		dst = make([]float64, len(heights))
	}
	for i, h := range heights {
		if b.byGap {
			h -= s.StringHeights[i] - 3
		}
		dst[i] = b.curve(i, h)
		if b.steel {
			dst[i] += math.Log(s.Strings[i].Gauge / 0.3)
		}
		if s != nil && s.Magnets != nil {
			dst[i] += b.magnets[s.Magnets[i]] / level.PerLn
		}
		for _, k := range []int{i - 1, i + 1} {
			if b.hears != 0 && k >= 0 && k < len(heights) {
				dst[i] += b.hears * (heights[k] - 0.2*heights[k]*h)
			}
		}
	}
	return dst
}

func (b bench) Uncertainty(s *fit.Setup, heights []float64) *mat.SymDense {
	if b.cov == nil {
		return mat.NewSymDense(len(heights), nil)
	}
	return b.cov
}

func (b bench) Warnings(s *fit.Setup, heights []float64) []string { return b.warnings }
func (b bench) Source() string                                    { return "shop data" }

// line is a predictor whose levels in dB are base[i] plus slope[i] per mm.
func line(base, slope []float64) bench {
	return bench{curve: func(i int, h float64) float64 { return (base[i] + slope[i]*h) / level.PerLn }}
}

// independent gives each string a standard deviation in dB of its own.
func (b bench) independent(sd ...float64) bench {
	b.cov = mat.NewSymDense(len(sd), nil)
	for i, s := range sd {
		b.cov.SetSym(i, i, s*s/(level.PerLn*level.PerLn))
	}
	return b
}

// falloff is a predictor that bends as pickups do: a power of the gap to a
// string at stringHeight, 3 mm off at height 0 unless base says otherwise.
func falloff(base []float64) bench {
	return bench{curve: func(i int, h float64) float64 {
		return base[i]/level.PerLn - (1.4+0.05*float64(i%3))*math.Log((3.3-h+2)/5)
	}}
}

// order is an order for n strings 3 mm over the bobbin plane, in steps.
func order(n int, top, step float64) *profiles.Order {
	o := &profiles.Order{
		File: "order.toml", ID: "A-1",
		StringSpread: 10.4 * float64(n-1), Poles: profiles.Rod,
		PoleHeightMax: top, PoleHeightStep: step, MinGap: 1,
		StringHeightFirst: 3, StringHeightLast: 3,
		Tolerance: 1, Offset: make([]float64, n),
	}
	for range n {
		o.Strings = append(o.Strings, profiles.String{Gauge: 0.3, Core: 0.3, Wrap: "plain"})
	}
	return o
}

// certain is for tests in which nothing is left to chance.
var certain = Options{SettingSD: 1e-12, Draws: 256}
