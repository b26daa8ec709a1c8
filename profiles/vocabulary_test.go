package profiles

import (
	"slices"
	"strings"
	"testing"
)

func TestParseWrap(t *testing.T) {
	for text, want := range map[string]Wrap{
		"plain": Plain, "Plain Steel": Plain, "unwound": Plain,
		"nickel": Nickel, "Nickel": Nickel, "pure nickel": Nickel,
		"nickel_plated_steel": NickelPlatedSteel, "nickel-plated steel": NickelPlatedSteel, "  Nickel  Plated-Steel ": NickelPlatedSteel, "NPS": NickelPlatedSteel,
		"stainless": Stainless, "stainless steel": Stainless, "Stainless-Steel": Stainless,
		"bronze": Bronze, "80/20 bronze": Bronze,
		"phosphor_bronze": PhosphorBronze, "Phosphor Bronze": PhosphorBronze,
	} {
		if got, known := ParseWrap(text); got != want || !known {
			t.Errorf("%q: got %q, known %t; want %q", text, got, known, want)
		}
	}
	for _, text := range []string{"steel", "xyzzy", "nickel wound", "brass ribbon", "nickle", "", "wound"} {
		if got, known := ParseWrap(text); known || got != Wrap(text) {
			t.Errorf("%q: got %q, known %t; want it as it is, not known", text, got, known)
		}
	}
	for _, w := range Wraps() {
		if got, known := ParseWrap(string(w)); got != w || !known {
			t.Errorf("%q: got %q, known %t", w, got, known)
		}
	}
}

func TestOwnWraps(t *testing.T) {
	list := []String{{Wrap: Plain}, {Wrap: "xyzzy"}, {}, {Wrap: Nickel}, {Wrap: "steel"}, {Wrap: "xyzzy"}, {Wrap: "NPS"}}
	if got, want := OwnWraps(list), []Wrap{"steel", "xyzzy"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if got := OwnWrapWarning("xyzzy"); !strings.Contains(got, `wrap "xyzzy"`) || !strings.Contains(got, "stainless_half, bronze or phosphor_bronze") {
		t.Errorf("got %q", got)
	}
}
