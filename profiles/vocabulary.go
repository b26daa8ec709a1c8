package profiles

import (
	"fmt"
	"slices"
	"strings"
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
)

// PoleKinds lists the kinds of pole.
func PoleKinds() []PoleKind { return []PoleKind{Rod, Screw, Slug} }

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

// Wrap is what is wound round a string's core. A shop may name wraps of its own;
// little is known of these before they are measured.
type Wrap string

// The wraps that the handbook knows.
const (
	Plain             Wrap = "plain" // nothing: the string is its core
	Nickel            Wrap = "nickel"
	NickelPlatedSteel Wrap = "nickel_plated_steel"
	Stainless         Wrap = "stainless"
	Bronze            Wrap = "bronze"
	PhosphorBronze    Wrap = "phosphor_bronze"
)

// Wraps lists the wraps that the handbook knows.
func Wraps() []Wrap {
	return []Wrap{Plain, Nickel, NickelPlatedSteel, Stainless, Bronze, PhosphorBronze}
}

// ParseWrap reads the name of a wrap; known is false for one of the user's own.
func ParseWrap(text string) (w Wrap, known bool) {
	w = Wrap(text)
	return w, slices.Contains(Wraps(), w)
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
