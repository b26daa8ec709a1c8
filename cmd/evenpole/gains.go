package main

import (
	"errors"

	"evenpole/fit/gain"
)

// loadGains reads the calibrations that stand beside a record. Commands that say
// something of levels apply them to its readings; the record itself is as the jig
// read it.
func loadGains(shop string) (gain.Book, error) {
	book, err := gain.Load(shop)
	if wrong := (*gain.InputError)(nil); errors.As(err, &wrong) {
		return nil, &inputError{err}
	}
	return book, err
}
