package fit

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
)

// decode reads what encoding a logLinear as JSON wrote.
func (k logKind) decode(state []byte) (*logLinear, error) {
	m := &logLinear{kind: k.name}
	if err := json.Unmarshal(state, m); err != nil {
		return nil, err
	}
	for _, name := range m.Terms {
		i := slices.IndexFunc(k.terms, func(t term) bool { return t.name == name })
		if i < 0 {
			return nil, fmt.Errorf("terms: a %s model has no %q", k.name, name)
		}
		m.terms = append(m.terms, k.terms[i])
	}
	return m, m.check()
}

// check refuses a state that no fit can have left.
func (m *logLinear) check() error {
	n := len(m.Terms)
	if n == 0 || len(m.B) != n || len(m.Centre) != n || len(m.Cov) != n {
		return fmt.Errorf("expected terms, b, centre and covariance of one length, got %d, %d, %d, %d", n, len(m.B), len(m.Centre), len(m.Cov))
	}
	for i, name := range m.Terms {
		if slices.Contains(m.Terms[:i], name) {
			return fmt.Errorf("terms: %q stands twice", name)
		}
	}
	if !(m.SD >= 0 && m.SD <= mostScatter && m.MeanSE >= 0 && m.MeanSE <= mostLevel) {
		return fmt.Errorf("expected deviations that are not negative, at most %d and %d, got %g and %g", mostScatter, mostLevel, m.SD, m.MeanSE)
	}
	scales := make([]float64, n)
	for j := range scales {
		scales[j] = mostSlopeSE
	}
	if err := checkCovariance(m.Cov, scales); err != nil {
		return err
	}
	if err := errors.Join(checkExcitation(m.Excite), m.Range.check()); err != nil {
		return err
	}
	return checkProbes(func(s *Setup, heights []float64) []float64 { return m.Level(nil, s, heights) })
}
