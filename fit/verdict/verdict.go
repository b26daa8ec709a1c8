// Package verdict decides whether a finished pickup's measured balance is
// within its order's tolerance, allowing for the measurement's uncertainty.
package verdict
