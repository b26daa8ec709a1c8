package fit

import (
	"context"
	"strings"
	"testing"

	"evenpole/fit/cell"
)

// measuredAs fits a model and measures its error of one kind, also one that Best would refuse.
func measuredAs(d *cell.Data, kind string) (*Result, error) {
	k, err := kindOf(kind)
	if err != nil {
		return nil, err
	}
	r, err := k.measured(context.Background(), d, partsOf(d), nil)
	if err == nil {
		r.complete(d)
	}
	return r, err
}

// Wraps that the handbook does not know are warned of, each once; so are wound strings
// whose wrap the record does not name.
func TestOwnWrapsAreWarnedOf(t *testing.T) {
	got := ownWraps([]cell.Cell{{Wrap: "plain"}, {Wrap: "xyzzy"}, {Wrap: "nickel"}, {Wrap: "xyzzy"}, {Wrap: cell.Unnamed}})
	if len(got) != 2 || !strings.Contains(got[0], "fill in the column wrap") || !strings.Contains(got[1], `wrap "xyzzy"`) {
		t.Errorf("got %q", got)
	}
}
