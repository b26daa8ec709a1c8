package record

import (
	"context"
	"fmt"
)

// told is the key of what hears of progress.
type told struct{}

// WithProgress is a context whose work tells of its steps: hear is called as each begins,
// and now and then while a long file is read, from several goroutines at once.
func WithProgress(ctx context.Context, hear func(step string)) context.Context {
	return context.WithValue(ctx, told{}, hear)
}

// Tell tells of a step, where anyone hears of it.
func Tell(ctx context.Context, format string, args ...any) {
	if hear, ok := ctx.Value(told{}).(func(string)); ok {
		hear(fmt.Sprintf(format, args...))
	}
}

// rowsPerStep is after how many rows of a file its reader tells again.
const rowsPerStep = 1 << 15

// TellRow is called with the number of each row of a file that is read, from 1. Every some
// thousand rows it tells so, and returns the error of ctx when that is done.
func TellRow(ctx context.Context, file string, row int) error {
	if row%rowsPerStep == 0 {
		Tell(ctx, "%s: %d rows read", file, row)
	}
	if row%4096 == 0 {
		return ctx.Err()
	}
	return nil
}
