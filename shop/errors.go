package shop

import (
	"context"
	"errors"
	"fmt"
)

// InputError is an error of what the user gave or has in the shop, and no failure
// of the program.
type InputError struct{ Err error }

// Error returns what is wrong.
func (e *InputError) Error() string { return e.Err.Error() }

// Unwrap returns the error itself.
func (e *InputError) Unwrap() error { return e.Err }

// What a user may not know how to help; each is within an *InputError.
var (
	ErrNoShop       = errors.New("this folder is not a shop, nor is any above it")
	ErrNoModel      = errors.New("no model yet")
	ErrUnknownModel = errors.New("expected the number of one of its models")
	ErrNoReadings   = errors.New("no readings yet")
	ErrNoFields     = errors.New("no field readings yet")
	ErrCertificate  = errors.New("expected a certificate as it was issued")
	ErrThere        = errors.New("is there already")
	ErrWork         = errors.New("is there already, and no table, picture or paper takes the place of an order, a mount or a model")
	ErrKept         = errors.New("is there already, and no order or mount of a shop is replaced")
	ErrOwned        = errors.New("this name belongs to the shop")
)

// bad returns an *InputError.
func bad(format string, args ...any) error { return &InputError{fmt.Errorf(format, args...)} }

// input makes an error an *InputError, unless it is that of ctx, which has ended.
func input(ctx context.Context, err error) error {
	if stopped := ctx.Err(); stopped != nil && errors.Is(err, stopped) {
		return err
	}
	return &InputError{err}
}

// as makes an error an *InputError where it is, or wraps, one of type E.
func as[E error](err error) error {
	if errors.As(err, new(E)) {
		return &InputError{err}
	}
	return err
}
