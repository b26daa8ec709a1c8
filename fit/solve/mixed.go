package solve

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Mixed is a linear mixed model with independent random terms,
//
//	y = X b + sum_k Z_k u_k + e,   u_k ~ N(0, S_k) for each level,
//	e_i ~ N(0, (sigma^2 + Known_i) / Weight_i),
//
// whose variances are found by restricted maximum likelihood (H. D. Patterson,
// R. Thompson, Recovery of inter-block information when block sizes are
// unequal, Biometrika 58, 1971). Fixed effects may carry normal priors and
// standard deviations may carry scaled inverse chi-squared priors; without any
// the criterion is the ordinary REML criterion.
//
// Unknowns that occur in one group only (a pickup's own level, its poles, its
// mountings) are eliminated group by group before the few that all groups
// share, so that the work grows in proportion to the number of groups.
type Mixed struct {
	Y      []float64
	X      *mat.Dense   // one row an observation; nil when there is no fixed effect
	Given  Observations // in the place of Y and X; nil = these, which [Mixed.Fit] wants
	Known  []float64    // known variance of each observation besides sigma^2; nil = 0
	Weight []float64    // divides the variance of an observation; nil = 1
	Prior  []Normal     // of the fixed effects; nil, or SD 0 for an entry = flat
	Sigma  Spread       // residual standard deviation: start and prior
	Terms  []Term
	Group  Levels // group of each observation, from 0; nil = one group

	lay *layout // worked out at first use: terms, levels and groups stay as they are from then on
}

// Observations are worked out whenever they are looked at: of many, what
// they multiply the fixed effects by takes most of the memory.
type Observations interface {
	Len() int   // observations
	Fixed() int // fixed effects

	// Row returns what was observed, and the covariate of the terms that vary, and writes
	// what the observation multiplies the fixed effects by, unless fixed has no entries. It
	// is called from several goroutines at once.
	Row(i int, fixed []float64) (y, covariate float64)
}

// Normal is a normal prior; SD 0 says that there is none.
type Normal struct{ Mean, SD float64 }

// Spread is what is known beforehand of a standard deviation: a scaled inverse
// chi-squared prior on its square, worth DF observations that spread by SD. DF 0
// is no prior; SD is then only where the search starts (0 = a default).
type Spread struct{ SD, DF float64 }

// Term is one random term: a factor with levels. Each observation belongs to one
// level (or none, -1), whose random coefficients multiply the observation's row
// of Z.
type Term struct {
	Name   string
	Level  Levels      // level of each observation
	Z      [][]float64 // covariates of each observation; nil = one constant 1
	Varies bool        // it has the one covariate that Given says, in the place of Z
	Spread Spread      // of a term with one covariate
	Local  bool        // every level occurs in one group only
}

// Levels are numbers of levels of observations, from 0; -1 = none. Nil, no observation has
// one.
type Levels []int32

// LevelsOf are such numbers; nil of nil.
func LevelsOf(numbers []int) Levels {
	if numbers == nil {
		return nil
	}
	out := make(Levels, len(numbers))
	for i, l := range numbers {
		out[i] = int32(l)
	}
	return out
}

// At is the level of observation i.
func (l Levels) At(i int) int {
	if l == nil {
		return -1
	}
	return int(l[i])
}

// MixedFit is a fitted Mixed.
type MixedFit struct {
	Beta     []float64     // fixed effects
	Cov      *mat.SymDense // of Beta, given the variances; nil without Beta
	Sigma    float64       // residual standard deviation
	Factor   []*mat.Dense  // of each term: lower triangle L, S_k = L L'
	U        [][][]float64 // conditional modes [term][level][covariate]
	REML     float64       // -2 log restricted likelihood at the optimum (no prior terms)
	Residual []float64     // y - X b - Z u; 0 of an observation of weight 0
}

// SD returns the standard deviation of a term's i-th coefficient.
func (f *MixedFit) SD(term, i int) float64 {
	var s float64
	for j := 0; j <= i; j++ {
		s += f.Factor[term].At(i, j) * f.Factor[term].At(i, j)
	}
	return math.Sqrt(s)
}

// errNotDefinite says that the equations have no unique solution.
var errNotDefinite = errors.New("the observations do not determine the fixed effects")
