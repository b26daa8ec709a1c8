package batch

// sampling is a plan by variables for batches whose standard deviation is not
// known, with the producer's and the consumer's risk at the shares of r.
//
// The k method (the idea of ISO 3951-1; not its tables) accepts when the distance
// from mean to limit is at least k standard deviations. The statistic's
// distribution is a noncentral t, so that the k at which either risk is as agreed
// is a one-sided tolerance factor: at or above k(limiting, 1 - consumer's risk)
// the batch can be accepted, below k(acceptable, producer's risk) rejected. The
// first falls and the second rises with the number of magnets; where they meet
// lies the smallest plan that always decides. G. J. Lieberman, G. J. Resnikoff,
// Sampling plans for inspection by variables, J. Amer. Statist. Assoc. 50, 457
// (1955), for the plan and for both limits at once: k turns into a greatest
// estimated share, see outside. From memory. With both limits, k is such that the risks
// hold however the share is split between the sides, see bothlimits.go.
type sampling struct {
	Risks
	both bool // there are two limits
}

// samplingFor is the plan's for limits.
func samplingFor(l *Limits, r Risks) sampling { return sampling{r, l.Min != nil && l.Max != nil} }

func (s sampling) accept(n int) float64 {
	if s.both {
		return acceptBoth(n, s.acceptOne(n), s.Risks)
	}
	return s.acceptOne(n)
}

func (s sampling) reject(n int) float64 {
	if s.both {
		return rejectBoth(n, s.rejectOne(n), s.Risks)
	}
	return s.rejectOne(n)
}

// withRiskShare is the plan's for a share of either risk.
func (s sampling) withRiskShare(share float64) sampling {
	s.Producer *= share
	s.Consumer *= share
	return s
}

func (s sampling) acceptOne(n int) float64 { return OneSided(n, 1-s.Limiting, 1-s.Consumer) }
func (s sampling) rejectOne(n int) float64 { return OneSided(n, 1-s.Acceptable, s.Producer) }

// mostMagnets is the largest plan that is worth asking for (our rule).
const mostMagnets = 5000

// leastMagnets is the fewest of which a share can be estimated.
const leastMagnets = 3

// plan returns the fewest magnets that always decide, and the k they decide by.
func (s sampling) plan() (n int, k float64, err error) {
	decides := func(n int) bool { return s.accept(n) <= s.reject(n) }
	from, to := leastMagnets, mostMagnets
	if s.both { // takes longer to work out, and hardly more magnets than one limit
		if from, _, err = (sampling{Risks: s.Risks}).plan(); err != nil {
			return 0, 0, err
		}
		for by := 1; ; by *= 2 {
			if to = min(from+by, mostMagnets); to == mostMagnets || decides(to) {
				break
			}
		}
	}
	more, ok := firstFrom(from, to, decides)
	if !ok {
		return 0, 0, refused("it would take more than %d magnets to tell %g %% from %g %% of the batch beyond its limits: let them be further apart",
			mostMagnets, 100*s.Acceptable, 100*s.Limiting)
	}
	n = from + more
	return n, s.accept(n), nil
}
