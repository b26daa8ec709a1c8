// Package profiles holds what a shop describes in files, with units and
// limits: orders, mounts and string sets, and the handbook defaults that are
// built in. Every length is in millimetres once read; a key that ends in _mm
// may be given in inches with _in instead, never both.
//
// The files are TOML. A reader reports one error at a time, the first in the
// file, as an [*Error]: file, line, column, the key, what was expected and what
// was found. A key that is missing counts only when nothing else is wrong, for
// a mistyped key explains it. Unknown keys are errors.
//
// # Shop files
//
// strings.toml at the top of a shop folder holds the shop's own string sets,
// which an order or a mount then names:
//
//	[[set]]
//	name = "house 10-46"
//	source = "caliper, ends unwound"    # optional
//	[[set.string]]                      # string 1 first
//	note = "E4"                         # optional
//	gauge_in = 0.010
//	core_in = 0.010                     # may be left out: then estimated
//	wrap = "plain"
//
// A set of the shop takes the place of a built-in one with the same name.
//
// # The way through the package
//
// In the order in which data flow:
//
//   - vocabulary.go: the words that files share ([PoleKind], [Excitation], [Wrap]), each
//     with its one list.
//   - name.go: which texts can be a name or a note, at every door ([IsName], [IsNote]).
//   - listed.go: a number of things and a list of names for people ([Count], [Listed]);
//     figures.go: numbers for people ([Sprintf]) and for files ([Shortest]).
//   - twice.go: heights that were read twice ([Twice]).
//   - units.go: in which units lengths are told to people ([Units]).
//   - limits.go: units of keys, and the range of values that make sense for each key;
//     mountlimits.go: those that hold for all that comes into a record ([MountLimit]).
//   - size.go: how large a file may be.
//   - tree.go, unknown.go, table.go, parse.go: a TOML file as a tree of values with
//     their places, the mistakes in it, and the reading of keys.
//   - types.go: what files describe ([String], [StringSet], [Order], [Mount]).
//   - mountdigest.go: a digest of all that a mount says.
//   - layout.go, coil.go: what stands under the strings where that is more than one pole
//     under each ([Layout]), a second coil ([Coil]), and the other pickup of a pair; motion.go: how a string moves
//     over two places.
//   - geometry.go, arc.go: the heights of strings on the fretboard's arc; tension.go:
//     mass, core and pitch of a string; pitch.go: whether one sounds at its pitch.
//   - strings.go, library.go: strings, and sets of them by name ([Library]).
//   - order.go, mount.go, batches.go, shopfile.go: the readers of the files ([ReadOrder],
//     [ReadMount], [ReadBatches], [LoadShop]).
//   - format.go, newfile.go, formats.go: help on the files, key by key, and new ones to
//     fill in ([Format]): what keys take is asked of the readers, what they are for
//     stands in formats.go, and a test holds both lists against each other. samples.go:
//     whole orders for pickups of other kinds. form.go: the
//     same keys as fields of a form, and the file that was typed there.
package profiles

import "fmt"

// Error is a mistake in a file, with its place.
type Error struct {
	File   string
	Line   int    // 1 is the first
	Column int    // in characters, 1 is the first
	Key    string // as the file should have it; "" for a mistake in the TOML itself
	Msg    string // what was expected and what was found
}

// Error returns "file:line:column: key: message".
func (e *Error) Error() string {
	if e.Key == "" {
		return fmt.Sprintf("%s:%d:%d: %s", e.File, e.Line, e.Column, e.Msg)
	}
	return fmt.Sprintf("%s:%d:%d: %s: %s", e.File, e.Line, e.Column, e.Key, e.Msg)
}
