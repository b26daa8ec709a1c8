package fit

import (
	"math"

	"evenpole/fit/level"
)

// squares is a sum of squared errors, ln v.
type squares struct {
	sum float64
	n   int
}

func (s *squares) add(v float64) { s.sum += v * v; s.n++ }

func (s *squares) join(o squares) { s.sum += o.sum; s.n += o.n }

// rms is the root mean square in dB; nil of nothing.
func (s *squares) rms() *float64 {
	if s.n == 0 {
		return nil
	}
	v := float64(level.Ln(math.Sqrt(s.sum / float64(s.n))).DB())
	return &v
}

// sumOf is the sum of squares of which a root mean square in dB over n cells was taken;
// of none there is nothing.
func sumOf(rms *float64, n int) squares {
	if rms == nil {
		return squares{}
	}
	return squares{math.Pow(float64(level.DB(*rms).Ln()), 2) * float64(n), n}
}
