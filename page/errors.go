package page

import (
	"errors"
	"fmt"
	"io/fs"
	"net/http"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/profiles"
	"evenpole/shop"
)

// missing says that there is no such thing in the shop.
type missing struct {
	format string
	name   string
}

func (m *missing) Error() string { return fmt.Sprintf(m.format, m.name) }

// refused says that what a person asked for cannot be, or not now.
type refused struct{ words string }

func (r *refused) Error() string { return r.words }

// statusOf is what an error is to a browser: what is not there, what the person can
// help, or a failure.
func statusOf(err error) int {
	var (
		none  *missing
		large *http.MaxBytesError
		input *shop.InputError
		prof  *profiles.Error
		row   *record.RowError
		lacks *record.ColumnError
		setup *capture.SetupError
		no    *refused
		filed *capture.FiledError
	)
	switch {
	case errors.As(err, &none), errors.Is(err, fs.ErrNotExist), errors.Is(err, shop.ErrUnknownOrder), errors.Is(err, shop.ErrUnknownMount):
		return http.StatusNotFound
	case errors.As(err, &large):
		return http.StatusRequestEntityTooLarge
	case errors.As(err, &input), errors.As(err, &prof), errors.As(err, &row), errors.As(err, &lacks), errors.As(err, &setup), errors.As(err, &no), errors.As(err, &filed):
		return http.StatusUnprocessableEntity
	}
	return http.StatusInternalServerError
}
