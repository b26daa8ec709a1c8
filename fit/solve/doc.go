// Package solve holds the statistics that several rooms stand on: nonlinear least
// squares, linear mixed models, robust means and combined uncertainties. It knows matrices
// and lists of numbers, and no pickups: what a row or a level stands for is the
// caller's affair.
//
// Two solvers:
//
//   - nonlinear.go: [Nonlinear], damped Gauss-Newton steps from a start, with the
//     derivatives given or by differences.
//   - mixed.go: [Mixed], a linear model with random terms, priors and known
//     variances, and [MixedFit], what a fit returns.
//
// The way through a mixed model: layout.go gives each unknown its place, portions.go sorts
// observations by what they multiply them by, row.go writes it, equations.go sets up
// Henderson's equations and solves them at given variances: moments.go adds observations
// up, elimination.go takes each group's own unknowns out, shared.go solves for those that
// groups share. gradient.go is the exact slope of the criterion, by which reml.go searches for
// the variances ([Mixed.Fit]); information.go steps towards them ([Mixed.Step]), for
// callers that change the model between steps. posterior.go reads covariances from the
// solution ([Mixed.Posterior]), leaveout.go leaves groups and observations out of it
// ([Mixed.Solve]). Solving and searching choose units of their own, so that the
// observations may be measured in any. Work on all cores (parallel.go) is cut by the data
// alone, so that sums come out the same on any machine.
//
// Beside them stand anderson.go (searches in fewer steps), robust.go (Huber's mean,
// medians), uncertainty.go (the sums of JCGM 100), floats.go (sums and means of plain
// lists) and matrix.go (covariances, as rows and propagated).
//
// A level is here what statisticians call so: one of the groups of a random term.
package solve
