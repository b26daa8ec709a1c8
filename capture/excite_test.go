package capture

import (
	"slices"
	"testing"

	"evenpole/jig"
	"evenpole/profiles"
)

// A jig names its excitation in the protocol's words, a record and an order in the
// shop's: the two lists must be the same, since a capture copies one to the other.
func TestJigAndShopNameTheSameExcitations(t *testing.T) {
	var jigs []profiles.Excitation
	for _, x := range jig.Excites() {
		e, err := profiles.OneOf(string(x), profiles.Excitations())
		if err != nil {
			t.Errorf("%q of a jig: %v", x, err)
		}
		jigs = append(jigs, e)
	}
	if shop := profiles.Excitations(); !slices.Equal(jigs, shop) {
		t.Errorf("jigs name %q, the shop %q", jigs, shop)
	}
}
