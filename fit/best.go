package fit

import (
	"cmp"
	"context"
	"errors"
	"fmt"

	"evenpole/fit/cell"
	"evenpole/fit/solve"
)

// Best fits the named kinds of model, all of them when none is named, and returns the
// one that best predicts the balance of pickups left out, two or more that both kinds
// could predict; where that cannot be told, the first in the order of Kinds. A model
// that does not know what pole heights do is no use for planning, however well it
// predicts pickups whose heights are alike: it comes last. Data that no kind fits are
// the error of the first one. progress may be nil.
func Best(ctx context.Context, d *cell.Data, progress Progress, names ...string) (*Result, error) {
	chosen, err := kindsOf(names)
	if err != nil {
		return nil, err
	}
	var best *Result
	var first error
	var scores []Score
	folds := map[string][]Fold{}
	all := partsOf(d)
	if progress != nil {
		progress = progress.inTurn()
	}
	results, errs := make([]*Result, len(chosen)), make([]error, len(chosen))
	solve.InParallelEach(len(chosen), func(i int) { // what one does on one core alone, another one fills
		if results[i], errs[i] = chosen[i].measured(ctx, d, all, progress); errs[i] == nil {
			errs[i] = results[i].checkScatter(d)
		}
	})
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	for i, r := range results {
		if errs[i] != nil {
			first = cmp.Or(first, errs[i])
			continue
		}
		scores = append(scores, Score{r.Kind, r.CVBalance, r.CVLevel, r.CVSet})
		folds[r.Kind] = r.CVPickups
		if best == nil || knowsPoleHeights(r.Model) && (predictsBetter(r, best) || !knowsPoleHeights(best.Model)) {
			best = r
		}
	}
	if best == nil {
		return nil, first
	}
	best.complete(d)
	best.Compared, best.folds = scores, folds
	if preferred := chosen[0].name; folds[preferred] == nil {
		best.Warnings = append(best.Warnings, fmt.Sprintf("the %s model cannot be fitted, so that a %s one has to do: %s", preferred, best.Kind, reason(first)))
	}
	return best, nil
}

// reason is an error without the words that no model can be fitted.
func reason(err error) string {
	if cannot := (*CannotFitError)(nil); errors.As(err, &cannot) {
		return cannot.Have + "; " + cannot.Need
	}
	return err.Error()
}

// knowsPoleHeights reports whether a model says what a pole's height does. A model
// that may not has a method of that name.
func knowsPoleHeights(m Model) bool {
	l, ok := m.(interface{ knowsHeights() bool })
	return !ok || l.knowsHeights()
}

// predictsBetter reports whether a predicts the balance of pickups left out
// better than b, over two or more that both predict.
func predictsBetter(a, b *Result) bool {
	c := compareFolds(a.CVPickups, b.CVPickups)
	return len(c.Pickups) > 1 && *c.Balance[0] < *c.Balance[1]
}
