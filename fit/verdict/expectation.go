package verdict

import (
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// How far the jig's slots differ in level, standard deviation of ln v: what is left
// when the model knows them, and when it does not (our assumptions; the second is the
// falloff model's before there are data).
const (
	knownSlotSD = 0.015
	slotSD      = 0.03
)

// sharedLevelSD is the standard deviation of ln v of what all strings share: so wide
// that the levels are compared by their balance alone.
const sharedLevelSD = 2

// deadBelow is how far below the expected level, dB, a string counts as dead.
const deadBelow = 20

// step, mm, is that of numerical slopes.
const step = 0.05

// studentT is the distribution of standardised residuals: Student's, since the
// scatter is not quite known (8 degrees of freedom, our assumption).
var studentT = distuv.StudentsT{Sigma: 1, Nu: 8}

// expectation is what was measured of a pickup beside what the model expects of it:
// residuals of levels and of fields over poles, with their joint covariance. Vectors
// of 2n hold the levels of n strings, ln v, and then the fields over their poles,
// ln B.
type expectation struct {
	model   fit.Model
	setup   *fit.Setup
	sets    []profiles.StringSet
	heights []float64 // mm, of the poles as the record has them
	levels  []float64 // ln v, measured; NaN when the string was not heard
	noise   []float64 // variance of levels: takes, mounting, slot and the model's residual
	cells   []cell.Cell
	probe   *probe

	relative bool // levels are in no known unit

	expected       []float64 // ln v as the model expects it on this jig
	predicted      []float64 // ln v as the model predicts it on any jig; shifts are beside it
	deadStrings    []bool
	residuals      []float64     // levels less expected, then deviations of fields; 0 for one that is excluded
	cov            *mat.SymDense // of residuals; an excluded one has variance 1 and no covariance
	nullLikelihood float64       // log likelihood of the residuals when nothing is wrong
}

// expectedLevels is the mean of ln v of each string of a new pickup. It includes what
// the model knows of the jig's slots and of the strings on the jig, unless the jig
// sets strings moving otherwise than the model's jig did. It adds the variance of the
// slots to the noise.
func (x *expectation) expectedLevels() []float64 {
	mean, slot := x.model.Expect(x.cells), knownSlotSD
	if slices.ContainsFunc(mean, math.IsNaN) {
		mean, slot = x.model.Level(nil, x.setup, x.heights), slotSD
	}
	for i := range x.noise {
		x.noise[i] += slot * slot
	}
	return mean
}

// prepare works out the residuals and their covariance.
func (x *expectation) prepare() {
	n := len(x.heights)
	x.expected = x.expectedLevels()
	x.predicted = x.model.Level(nil, x.setup, x.heights)
	if x.relative {
		x.bringLevels()
	}
	x.deadStrings = x.findDead()
	x.residuals = make([]float64, 2*n)
	x.cov = mat.NewSymDense(2*n, nil)
	modelCov := x.model.Uncertainty(x.setup, x.heights)
	exponent, exponentSE := x.fieldExponent()
	sd := x.probe.spread
	// Fields explain at most half of the variance from pole to pole (our assumption).
	// When scatter of fields would make more than that half, the excess stays in the
	// levels as variance that fields do not explain.
	unexplained := max(0, solve.Square(exponent*sd)-solve.Square(x.poleSD())/2)
	for i := range n {
		for j := i; j < n; j++ {
			x.cov.SetSym(i, j, modelCov.At(i, j)+sharedLevelSD*sharedLevelSD)
			x.cov.SetSym(n+i, n+j, sd*sd) // the batch's mean, which all fields share
		}
		x.cov.SetSym(i, i, x.cov.At(i, i)+x.noise[i])
		x.cov.SetSym(n+i, n+i, 2*sd*sd)
		x.cov.SetSym(i, n+i, exponent*sd*sd)
		x.residuals[i] = x.levels[i] - x.expected[i]
		if z, ok := x.probe.deviation(i); ok {
			x.residuals[n+i] = z
			x.cov.SetSym(i, i, x.cov.At(i, i)+unexplained+solve.Square(exponentSE*z))
		} else {
			x.exclude(n + i)
		}
		if x.deadStrings[i] {
			x.exclude(i)
		}
	}
	x.nullLikelihood = x.likelihood(nil, nil, 0)
}

// bringLevels shifts levels in no known unit so that they are as loud together as is
// expected.
func (x *expectation) bringLevels() {
	var off []float64
	for i, v := range x.levels {
		if !math.IsNaN(v) {
			off = append(off, v-x.expected[i])
		}
	}
	shift := solve.Mean(off)
	for i := range x.levels {
		x.levels[i] -= shift
	}
}

// exclude takes a level or a field that was not measured out of the comparison.
func (x *expectation) exclude(k int) {
	for j := range x.residuals {
		x.cov.SetSym(k, j, 0)
	}
	x.cov.SetSym(k, k, 1)
	x.residuals[k] = 0
}

// fieldExponent is by how much ln v rises with ln B of a pole's field, and its
// standard error. For a model that does not know it: between that of steel that
// saturates and of steel that magnetises in proportion (our assumption).
func (x *expectation) fieldExponent() (b, se float64) {
	if b, se, ok := x.model.FieldExponent(); ok {
		return b, se
	}
	return 0.5, 0.3
}

// poleSD is the standard deviation of ln v from pole to pole; our assumption for a
// model that does not know it.
func (x *expectation) poleSD() float64 {
	if sd, ok := x.model.PoleSD(); ok {
		return float64(sd)
	}
	return 0.05
}

// findDead finds the strings that were not heard, or that are far below what is
// expected beside the others.
func (x *expectation) findDead() []bool {
	var off []float64
	for i, l := range x.levels {
		if known(l) {
			off = append(off, l-x.expected[i])
		}
	}
	slices.Sort(off)
	dead := make([]bool, len(x.levels))
	for i, l := range x.levels {
		dead[i] = !known(l) || l-x.expected[i] < middle(off)-deadBelow/level.PerLn
	}
	return dead
}

// strings is what is expected of each string's balance, beside the mean of the
// strings that are not dead. shift, dB by string, converts the jig's excitation to the
// order's; nil when they are the same.
func (x *expectation) strings(shift []float64) []Expected {
	n := len(x.heights)
	out := make([]Expected, n)
	for i := range out {
		off, expected, variance := math.NaN(), 0.0, math.NaN()
		share := x.balanceWeights(i)
		for j, w := range share {
			expected += w * level.PerLn * x.expected[j]
			if shift != nil {
				expected += w * shift[j]
			}
		}
		if !x.deadStrings[i] {
			w := mat.NewVecDense(2*n, append(share, make([]float64, n)...))
			off, variance = level.PerLn*mat.Dot(w, mat.NewVecDense(2*n, x.residuals)), mat.Inner(w, x.cov, w)
		}
		u := studentT.Quantile(0.975) * math.Sqrt(variance) * level.PerLn
		out[i] = Expected{String: i + 1, Balance: level.Figure(expected), Expanded: level.Figure(u), Off: level.Figure(off), Field: level.Figure(x.probe.field(i))}
	}
	return out
}

// balanceWeights are the weights of the levels in string i's balance: 1 of its own,
// less the mean of the strings that are not dead.
func (x *expectation) balanceWeights(i int) []float64 {
	share := make([]float64, len(x.heights))
	heard := 0.0
	for j := range share {
		if !x.deadStrings[j] {
			heard++
		}
	}
	for j := range share {
		if !x.deadStrings[j] {
			share[j] = -1 / heard
		}
	}
	share[i]++
	return share
}

// likelihood is the logarithm of the multivariate Student density of the residuals
// less a shift, up to a constant. A direction (nil for none) along which the size is
// open adds its variance sd² to the covariance.
func (x *expectation) likelihood(shift, direction []float64, sd float64) float64 {
	chol, left, ok := x.factorized(shift, direction, sd)
	if !ok {
		return math.Inf(-1)
	}
	var w mat.VecDense
	if chol.SolveVecTo(&w, left) != nil {
		return math.Inf(-1)
	}
	nu, n := studentT.Nu, x.observations()
	return -chol.LogDet()/2 - (nu+n)/2*math.Log1p(mat.Dot(left, &w)/nu)
}

// observations is how many levels and fields are compared.
func (x *expectation) observations() float64 {
	n := 0
	for k := range x.residuals {
		if !x.excluded(k) {
			n++
		}
	}
	return float64(n)
}

// size estimates how far along a direction the residuals lie from a shift; its prior
// is normal about 0 with standard deviation sd.
func (x *expectation) size(shift, direction []float64, sd float64) float64 {
	chol, left, ok := x.factorized(shift, direction, sd)
	var w mat.VecDense
	if !ok || direction == nil || chol.SolveVecTo(&w, left) != nil {
		return 0
	}
	return sd * sd * mat.Dot(mat.NewVecDense(len(direction), direction), &w)
}

// factorized is the residuals less a shift, and their covariance with the variance
// sd² along a direction, factorised; not ok when it is not positive definite.
func (x *expectation) factorized(shift, direction []float64, sd float64) (*mat.Cholesky, *mat.VecDense, bool) {
	left := mat.NewVecDense(len(x.residuals), slices.Clone(x.residuals))
	for k, s := range shift {
		left.SetVec(k, left.AtVec(k)-s)
	}
	cov := x.cov
	if direction != nil {
		cov = mat.NewSymDense(len(direction), nil)
		cov.SymRankOne(x.cov, sd*sd, mat.NewVecDense(len(direction), direction))
	}
	var chol mat.Cholesky
	return &chol, left, chol.Factorize(cov)
}

// excluded reports whether a level or a field takes no part in the comparison.
func (x *expectation) excluded(k int) bool {
	n := len(x.heights)
	if k < n {
		return x.deadStrings[k]
	}
	_, ok := x.probe.deviation(k - n)
	return !ok
}

// shiftFor is by how much the levels would change, ln v, were poles at other heights,
// or strings or string heights changed; fields do not change.
func (x *expectation) shiftFor(heights []float64, change func(strings []profiles.String, above []float64)) []float64 {
	s := *x.setup
	s.Strings, s.StringHeights = slices.Clone(s.Strings), slices.Clone(s.StringHeights)
	if change != nil {
		change(s.Strings, s.StringHeights)
	}
	out := make([]float64, 2*len(heights))
	x.model.Level(out[:len(heights)], &s, heights)
	for i, m := range x.predicted {
		out[i] -= m
	}
	return out
}

// slope is the change from one shift to another, per unit of by.
func slope(to, from []float64, by float64) []float64 {
	out := make([]float64, len(to))
	for k := range to {
		out[k] = (to[k] - from[k]) / by
	}
	return out
}
