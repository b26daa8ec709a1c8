package fit

import (
	"context"
	"fmt"
	"strings"

	"evenpole/fit/cell"
)

// modelKind is a way to fit a model.
type modelKind struct {
	name string

	// fit fits a model to the cells of data. It is called from several goroutines at
	// once. Data that carry no such model are a *CannotFitError.
	fit fitter

	// decode reads the state that encoding a model as JSON wrote into its file.
	decode func(state []byte) (Model, error)

	// refit returns how to fit other data with what was learnt of the scatter from
	// those of m: faster, for leaving pickups out; nil = Fit.
	refit func(m Model) fitter

	// leaver leaves parts out of the data that m was fitted to; nil = by fitting the rest.
	leaver func(m Model, d *cell.Data) leaver
}

// fitter fits a model to data; it ends with the context's error when that is done.
type fitter = func(ctx context.Context, d *cell.Data) (Model, error)

// kinds are all kinds. Where the data cannot tell which predicts best, the first that
// can be fitted is chosen: the falloff model knows from the handbook
// what few data do not say, and of the others the one on height is the plainer.
var kinds = []modelKind{falloffKind, logLinearKind(logHeight), logLinearKind(logGap)}

var falloffKind = modelKind{
	name:   falloffName,
	fit:    func(ctx context.Context, d *cell.Data) (Model, error) { return fitFalloff(ctx, d, nil) },
	decode: func(state []byte) (Model, error) { return decodeFalloff(state) },
	refit: func(m Model) fitter {
		return func(ctx context.Context, d *cell.Data) (Model, error) { return fitFalloff(ctx, d, m.(*Falloff)) }
	},
	leaver: func(m Model, d *cell.Data) leaver {
		if l := m.(*Falloff).leaver(d); l != nil {
			return l
		}
		return nil
	},
}

func logLinearKind(k logKind) modelKind {
	return modelKind{
		name:   k.name,
		fit:    func(_ context.Context, d *cell.Data) (Model, error) { return k.fit(d) },
		decode: func(state []byte) (Model, error) { return k.decode(state) },
		leaver: func(m Model, d *cell.Data) leaver {
			if l := m.(*logLinear).leaver(d); l != nil {
				return l
			}
			return nil
		},
	}
}

// Kinds names the kinds of model, in the order in which they are preferred
// where the data cannot tell.
func Kinds() []string {
	var names []string
	for _, k := range kinds {
		names = append(names, k.name)
	}
	return names
}

func kindOf(name string) (modelKind, error) {
	for _, k := range kinds {
		if k.name == name {
			return k, nil
		}
	}
	return modelKind{}, fmt.Errorf("expected a kind of model (%s), got %q", strings.Join(Kinds(), ", "), name)
}

// kindsOf finds kinds by their names; all of them when there are none.
func kindsOf(names []string) ([]modelKind, error) {
	if len(names) == 0 {
		return kinds, nil
	}
	var out []modelKind
	for _, name := range names {
		k, err := kindOf(name)
		if err != nil {
			return nil, err
		}
		out = append(out, k)
	}
	return out, nil
}

// RefitOf is how to fit other data as m was fitted, with what m learnt of the scatter:
// the rest of its data, when pickups are left out. The program itself does so by refitOf; it
// is for tests of other rooms, which compare what they say of a model to come with that model.
func RefitOf(m Model) (func(context.Context, *cell.Data) (Model, error), error) {
	k, err := kindOf(m.Kind())
	if err != nil {
		return nil, err
	}
	return k.refitOf(m), nil
}

func (k modelKind) refitOf(m Model) fitter {
	if k.refit == nil {
		return k.fit
	}
	return k.refit(m)
}

// OfKind fits a model of one kind, and leaves nothing out to judge it by; see Best.
func OfKind(ctx context.Context, d *cell.Data, kind string) (Model, error) {
	k, err := kindOf(kind)
	if err != nil {
		return nil, err
	}
	return k.fit(ctx, d)
}
