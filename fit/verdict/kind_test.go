package verdict

import (
	"slices"
	"testing"

	"evenpole/profiles"
)

// A pickup of another kind than ordered is said to be one: its levels may be even all the same.
func TestAnotherKindOfPickupIsSaid(t *testing.T) {
	o := order(2)
	rows := taken(around(20), around(20))
	for i := range rows {
		rows[i].Under = profiles.UnderBlade
	}
	const want = "the pickup on the jig has a blade, the order asks for one pole a string"
	if v := check1(t, rows, o, Options{}); !slices.Contains(v.Warnings, want) {
		t.Errorf("got %q", v.Warnings)
	}
	for i := range rows {
		rows[i].Under = ""
	}
	if v := check1(t, rows, o, Options{}); slices.Contains(v.Warnings, want) {
		t.Errorf("got %q", v.Warnings)
	}
}
