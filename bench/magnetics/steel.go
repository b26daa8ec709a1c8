package magnetics

import "math"

// mu0 is the magnetic constant, T m/A (with its old exact value).
const mu0 = 4e-7 * math.Pi

// Steel is a wire's magnetisation curve: a soft part that grows in proportion and then
// saturates, x/(1 + x^k)^(1/k) (Froehlich's law for k = 1), and a part that must first
// be turned, x²/(1 + x²).
type Steel struct {
	Saturation   float64 // T, polarisation
	Permeability float64 // relative, in the weakest fields
	Knee         float64 // k, 1 (0 is the same) or more: how sharply the soft part saturates
	Turned       float64 // share of the second part, 0 to less than 1
	Turning      float64 // A/m inside, at which half of the second part has turned
	Reversible   float64 // share of small changes that leave the turned part where it is, 0 to 1
}

// curve is the polarisation, T, and its slope in a field of b = mu0 H. For small changes
// about that field the slope is less where the turned part lags behind.
func (s *Steel) curve(b float64) (j, slope, small float64) {
	if s.Saturation <= 0 || s.Permeability <= 1 {
		return 0, 0, 0
	}
	soft, hard := (1-s.Turned)*s.Saturation, s.Turned*s.Saturation
	initial := s.Permeability - 1
	x := initial * math.Abs(b) / soft
	k := max(1, s.Knee)
	bent := math.Pow(1+math.Pow(x, k), -1/k)
	j = soft * x * bent
	slope = initial * bent / (1 + math.Pow(x, k))
	if hard > 0 {
		y := math.Abs(b) / (mu0 * s.Turning)
		j += hard * y * y / (1 + y*y)
		slope += hard / (mu0 * s.Turning) * 2 * y / ((1 + y*y) * (1 + y*y))
	}
	room := 1 - j/s.Saturation
	small = slope + s.Reversible*(math.Min(slope, initial*room*room)-slope)
	return math.Copysign(j, b), slope, small
}
