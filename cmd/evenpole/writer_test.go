package main

import (
	"errors"
	"io/fs"
	"strings"
	"testing"

	"evenpole/capture/record/disk"
)

// A folder that may not be written to is no full disk: one hint, and the right one.
func TestOpenHint(t *testing.T) {
	for err, want := range map[error]string{
		fs.ErrPermission:      "allow it, or name another folder",
		errors.New("no room"): "make room",
	} {
		got := openHint(&disk.WriteError{Path: "shop/writer.lock", Err: err}, "shop")
		if len(got) != 1 || !strings.Contains(got[0], want) {
			t.Errorf("%v: got %q, want %q alone", err, got, want)
		}
	}
	if got := openHint(nil, "shop"); got != nil {
		t.Errorf("got %q", got)
	}
}
