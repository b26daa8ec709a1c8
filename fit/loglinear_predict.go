package fit

import (
	"cmp"
	"fmt"
	"math"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

func (m *logLinear) Expect(cells []cell.Cell) []float64 {
	out := make([]float64, len(cells))
	for i := range cells {
		out[i] = m.at(&cells[i])
		if !m.predicts(&cells[i]) {
			out[i] = math.NaN()
		}
	}
	return out
}

// predicts reports whether it can predict a cell.
func (m *logLinear) predicts(c *cell.Cell) bool { return c.Excite == m.Excite }

// Level predicts for the mean of the measured pickups.
func (m *logLinear) Level(dst []float64, s *Setup, heights []float64) []float64 {
	if dst == nil {
		dst = make([]float64, len(heights))
	}
	for i := range heights {
		dst[i] = m.at(s.cell(i, heights))
	}
	if to := s.PlayedBy(m.Excite); to != m.Excite {
		for i, v := range curve.Convert(m.Excite, to, s.Strings) {
			dst[i] += v
		}
	}
	return dst
}

// Standard deviations of the error of ln v for strings of a wrap that was not measured:
// of one that the handbook knows, 1.3 dB, our assumption; of one that it does not know,
// 2.6 dB, what the falloff model's prior makes of a wound string that may be bronze or
// steel.
const (
	newWrapSD = 0.15
	ownWrapSD = 0.3
)

// wrapVariance is the variance of ln v that strings of a wrap which was not measured
// have in common.
func wrapVariance(w profiles.Wrap) float64 {
	if _, known := profiles.ParseWrap(string(w)); known {
		return newWrapSD * newWrapSD
	}
	return ownWrapSD * ownWrapSD
}

// Uncertainty is the covariance of the terms' estimates, and the residual
// variance for each string as what differs between builds. The error of the
// mean level, which all strings share, is left out. Strings of one wrap that was
// not measured have that error in common.
func (m *logLinear) Uncertainty(s *Setup, heights []float64) *mat.SymDense {
	n := len(heights)
	x := mat.NewDense(n, len(m.terms), nil)
	for i := range heights {
		for j, t := range m.terms {
			x.Set(i, j, t.value(s.cell(i, heights))-m.Centre[j])
		}
	}
	estimates := solve.Symmetric(m.Cov)
	cov := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			cov.SetSym(i, k, mat.Inner(x.RowView(i), estimates, x.RowView(k)))
			if w := s.Strings[i].Wrap; w == s.Strings[k].Wrap && !m.Range.hasWrap(w) {
				cov.SetSym(i, k, cov.At(i, k)+wrapVariance(w))
			}
		}
		cov.SetSym(i, i, cov.At(i, i)+m.SD*m.SD)
	}
	return cov
}

func (m *logLinear) Warnings(s *Setup, heights []float64) []string {
	out := m.Range.warnings(s, heights)
	to := s.PlayedBy(m.Excite)
	switch {
	case to == m.Excite:
	case curve.Convert(m.Excite, to, s.Strings) == nil:
		out = append(out, fmt.Sprintf("levels are for strings excited by %q, not %q: they cannot be converted without each string's note", cmp.Or(m.Excite, "no known means"), to))
	default:
		out = append(out, fmt.Sprintf("measured by %q, converted to %q from the strings' notes and masses", m.Excite, to))
	}
	return append(out, m.missingTerms()...)
}

// missingTerms says which terms the model lacks, and which capture would tell them.
func (m *logLinear) missingTerms() []string {
	var out []string
	if !m.knowsHeights() {
		out = append(out, "the model does not know what pole heights do: "+onPoleHeight.cannotTell)
	}
	if !m.has(onCore) {
		out = append(out, "the model does not know what cores do: "+onCore.cannotTell)
	}
	return out
}
