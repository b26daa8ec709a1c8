package shop

import (
	"context"
	"errors"
	"math"
	"strings"

	"evenpole/fit"
	"evenpole/fit/cell"
)

// Fitting is what a model is fitted to, and by whom.
type Fitting struct {
	Files     []string     // readings; see CellsOf
	Sources   []Source     // in place of Files, where there are any; see Cells
	Fields    string       // field readings; "" for those beside the first file
	Program   string       // version of the program, for the model's file
	KeepCells bool         // what was made of a shop's readings, so that the next fit reads the rows since alone
	Progress  fit.Progress // is told how far leaving out is; may be nil
}

// Best fits the kind of model that predicts best. It returns the cells as well, without
// their TakeStats, which Keep wants. It ends with the context's error when that is done.
func (f *Fitting) Best(ctx context.Context) (*fit.Result, *cell.Data, error) {
	unread := int64(math.MaxInt64)
	if f.KeepCells {
		unread = mostUnread
	}
	data, keep, err := f.cells(ctx, unread)
	if err != nil {
		return nil, nil, err
	}
	data.ForgetTakes()
	if keep.found != nil {
		if r := keep.found.model(f.Program); r != nil {
			keep.cells.write()
			return r, data, nil
		}
	}
	result, err := fit.Best(ctx, data, f.Progress)
	if errors.As(err, new(*fit.CannotFitError)) {
		return nil, nil, bad("%s: %w", strings.Join(f.Files, ", "), err)
	}
	if err != nil {
		return nil, nil, err
	}
	result.Program = f.Program
	if f.KeepCells {
		keep.write(result)
	}
	return result, data, nil
}

func (f *Fitting) cells(ctx context.Context, mostUnread int64) (data *cell.Data, keep keeping, err error) {
	if len(f.Sources) > 0 {
		data, err = Cells(ctx, f.Sources...)
		return data, keep, err
	}
	return cellsOf(ctx, f.Files, f.Fields, mostUnread)
}
