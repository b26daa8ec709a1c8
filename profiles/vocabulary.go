package profiles

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// The words that orders, mounts and records share, each with its one list, by which
// [OneOf] reads them everywhere.

// PoleKind says how a pole can be set, and so what remedy there is afterwards.
type PoleKind string

// The kinds of pole of an order or a mount.
const (
	Rod   PoleKind = "rod"   // a magnet, fixed once the coil is wound
	Screw PoleKind = "screw" // a steel screw over a bar magnet
	Slug  PoleKind = "slug"  // a plain steel slug over a bar magnet
	Blade PoleKind = "blade" // one blade of steel over a bar magnet, under all strings
)

// PoleKinds lists the kinds of pole.
func PoleKinds() []PoleKind { return []PoleKind{Rod, Screw, Slug, Blade} }

// Excitation says how a string is set moving, at the jig or by the player; "" where
// nothing says.
type Excitation string

// The kinds of excitation.
const (
	Travel Excitation = "travel" // released from a fixed displacement
	Force  Excitation = "force"  // breaks away at a fixed force
	Drive  Excitation = "drive"  // an exciter sets what it sets
)

// Excitations lists the kinds of excitation.
func Excitations() []Excitation { return []Excitation{Travel, Force, Drive} }

// Paper is the size of the pages that are printed.
type Paper string

// The papers that pages are made for.
const (
	A4     Paper = "a4"
	Letter Paper = "letter"
)

// Papers lists the papers.
func Papers() []Paper { return []Paper{A4, Letter} }

// Wrap is what is wound round a string's core. A shop may name wraps of its own;
// little is known of these before they are measured.
type Wrap string

// The wraps that the handbook knows.
const (
	Plain             Wrap = "plain" // nothing: the string is its core
	Nickel            Wrap = "nickel"
	NickelPlatedSteel Wrap = "nickel_plated_steel"
	Stainless         Wrap = "stainless"
	StainlessFlat     Wrap = "stainless_flat" // ribbon
	StainlessHalf     Wrap = "stainless_half" // round wire, ground or pressed half flat
	Bronze            Wrap = "bronze"
	PhosphorBronze    Wrap = "phosphor_bronze"
)

// wrapNames are the wraps that the handbook knows, each with what the trade calls it
// besides, in the letters of [wrapKey]. "Steel" and "nickel wound" are not there: the
// trade says them of more than one wrap.
var wrapNames = []struct {
	wrap   Wrap
	others []string
}{
	{Plain, []string{"plain_steel", "unwound"}},
	{Nickel, []string{"pure_nickel"}},
	{NickelPlatedSteel, []string{"nickel_plated", "nps"}},
	{Stainless, []string{"stainless_steel"}},
	{StainlessFlat, []string{"stainless_flatwound", "flatwound", "flat_wound", "stainless_ribbon"}},
	{StainlessHalf, []string{"stainless_halfround", "halfround", "half_round", "halfwound", "half_wound", "stainless_groundwound", "groundwound"}},
	{Bronze, []string{"80_20_bronze", "bronze_80_20"}},
	{PhosphorBronze, []string{"phos_bronze"}},
}

// Wraps lists the wraps that the handbook knows.
func Wraps() []Wrap {
	var out []Wrap
	for _, n := range wrapNames {
		out = append(out, n.wrap)
	}
	return out
}

// ParseWrap reads the name of a wrap, in any of its spellings: letters may be capital,
// and blanks, hyphens and slashes stand for "_". known is false for a wrap of the
// user's own, which is what text says.
func ParseWrap(text string) (w Wrap, known bool) {
	key := wrapKey(text)
	for _, n := range wrapNames {
		if key == string(n.wrap) || slices.Contains(n.others, key) {
			return n.wrap, true
		}
	}
	return Wrap(text), false
}

// wrapKey is a name of a wrap in the letters in which names are compared.
func wrapKey(text string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(text), func(r rune) bool {
		return r == '_' || r == '-' || r == '/' || unicode.IsSpace(r)
	}), "_")
}

// OwnWrapWarning says what it means that the handbook does not know a wrap.
func OwnWrapWarning(w Wrap) string {
	return fmt.Sprintf("wrap %q is none that the handbook knows (%s): before strings of it are captured it may be anything from bronze to steel, and it is taken to weigh what steel does; correct the name, or capture strings of it", w, Choice(Wraps()))
}

// OneOf reads one of the words of a list.
func OneOf[T ~string](text string, known []T) (T, error) {
	if i := slices.Index(known, T(text)); i >= 0 {
		return known[i], nil
	}
	return "", fmt.Errorf("expected %s, got %q", Choice(known), text)
}

// Choice writes a list of words as people do: "travel, force or drive".
func Choice[T ~string](known []T) string {
	words := make([]string, len(known))
	for i, k := range known {
		words[i] = string(k)
	}
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " or " + words[last]
}
