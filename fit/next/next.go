package next

import (
	"context"
	"fmt"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/profiles"
)

// Next proposes up to n captures, each in the light of those before it, that
// would most narrow what the model does not know of the balance of pickups to
// come: the root mean square, over their strings, of the standard deviation in dB
// that the model's parameters leave. What differs from one built pickup to the
// next no capture can narrow, and it is not counted.
//
// This is Bayesian A-optimal design for linear functions of the parameters (K.
// Chaloner, I. Verdinelli, Bayesian Experimental Design: A Review, Stat. Sci. 10,
// 1995): a capture is worth by how much it lowers the trace of L C L', C the
// parameters' covariance and L the balances' derivatives, the model made linear
// about its estimates; captures are chosen one after the other. What the record
// knows already of a pickup's poles and of the strings on the bench makes their
// scatter count less. Of captures worth nearly the same, the one that needs
// nothing wound or bought comes first.
//
// Captures are made of the pickups of d and of test pickups to be wound, under
// the sets given. A model that is no falloff model is an error. When ctx ends, the error
// is its error.
func Next(ctx context.Context, p fit.Predictor, d *cell.Data, wants []Want, sets []profiles.StringSet, n int) ([]Proposal, error) {
	f, err := fit.AsFalloff(p)
	if err != nil {
		return nil, err
	}
	if len(wants) == 0 {
		return nil, fmt.Errorf("expected a pickup to come, got none")
	}
	s, err := newSearch(ctx, f, d, wants, sets)
	if err != nil {
		return nil, err
	}
	var out []Proposal
	for len(out) < n {
		best, ok, err := s.best(ctx)
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
		out = append(out, s.choose(best, len(out)+1))
	}
	return out, nil
}
