package screen

import (
	"cmp"
	"slices"

	"evenpole/fit/cell"
)

// The kinds of mistake that Screen finds.
const (
	DecimalPole    = "decimal slip in a pole height"
	DecimalHeight  = "decimal slip in a string height"
	DecimalSteel   = "decimal slip in a diameter"
	SwappedPoles   = "two pole heights swapped"
	SwappedHeights = "two string heights swapped"
	InchesTyped    = "inches typed as millimetres"
	WrongSet       = "wrong string set"
	PickupMixedUp  = "pickup mixed up"
	WrongEnd       = "heights listed from the wrong end"
	ClippedUnseen  = "clipped takes, not flagged"
	DriftInSession = "drift"
	Impossible     = "impossible length"
)

// What a hypothesis must have for it before it is reported, as ln of a likelihood
// ratio. Each was found on simulated shops: see bench/slips.
const (
	leastEvidence       = 5   // over the record as filed, less ln of the alternatives of its kind
	leastDriftEvidence  = 3   // of a drift: there is one alternative
	leastRepairEvidence = -3  // where a diameter or height cannot be: something is wrong for certain
	mostLevelsAgainst   = 1   // levels may speak against what lists of heights say by half of that, and so much
	mostPrior           = 3   // what speaks for a mistake before it is looked at
	certain             = 100 // evidence for a diameter or height that cannot be
)

// mistake is a Suspect with the cells that it touches.
type mistake struct {
	cell.Suspect
	cells []int // in Data.Cells
}

// Weights of cells that a mistake touches: they are kept, and count the less the
// larger the error that it may have made. A length or a name that is wrong says
// next to nothing; a level that drifted or was cut off is somewhat off.
const (
	misfiledWeight = 0.01
	cutWeight      = 0.1
	driftedWeight  = 0.25
)

func (m *mistake) cellWeight() float64 {
	switch m.Kind {
	case ClippedUnseen:
		return cutWeight
	case DriftInSession:
		return driftedWeight
	}
	return misfiledWeight
}

// mergeSpans puts runs of lines in order and joins those that touch.
func mergeSpans(spans []cell.Span) []cell.Span {
	spans = slices.Clone(spans)
	slices.SortFunc(spans, func(a, b cell.Span) int { return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.First, b.First)) })
	var out []cell.Span
	for _, s := range spans {
		if n := len(out); n > 0 && out[n-1].File == s.File && s.First <= out[n-1].Last+1 {
			out[n-1].Last = max(out[n-1].Last, s.Last)
			continue
		}
		out = append(out, s)
	}
	return out
}
