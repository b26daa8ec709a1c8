package shop

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"evenpole/capture/record"
	"evenpole/profiles"
)

// Within these two measurements, in mm, are of the same pole, or of the same string: a
// caliper's error twice, and less than strings of one kind differ by.
const (
	sameHeight   = 0.02 + rounding
	sameDiameter = 0.005 + rounding
	rounding     = 1e-9
)

// OtherPickup says that what a mount says of a pickup is not what the record has under
// that name: it may be another pickup.
type OtherPickup struct {
	Mount   string // its file
	Pickup  string
	Changes []string // what was and what is, in words
}

func (e *OtherPickup) Error() string {
	return fmt.Sprintf("%s: pickup %q is not as the record has it: %s", e.Mount, e.Pickup, strings.Join(e.Changes, "; "))
}

// SamePickup compares a mount with what the record has of its pickup, before a capture
// of some purpose; of is record.OfReadings or record.OfFields. An *OtherPickup, within an
// *InputError, says what differs: the batch or the pole heights that it had last (screws
// are moved, and their heights not compared), those of a second coil likewise and whether
// its signal adds, another number of coils, fewer strings than it had, or, in a check,
// strings under which no session of it was. A capture that goes on with a session of this
// very mount, as it does unless again, is of the same pickup.
func (s *Shop) SamePickup(m *profiles.Mount, purpose record.Purpose, of string, again bool) error {
	if s.folder == "" || m.Loose() {
		return nil
	}
	if !again {
		if session, err := record.SessionOf(s.Dir(), purpose, of, m); session != "" || err != nil {
			return err
		}
	}
	before, err := record.MountedBefore(s.Dir(), m.Pickup)
	if err != nil || before == nil {
		return err
	}
	changes := slices.Concat(otherBatch(m, before), otherPoles(m, before), otherCoil(m, before))
	if purpose == record.ForCheck {
		changes = append(changes, otherStrings(m, before)...)
	}
	if changes == nil {
		return nil
	}
	return &InputError{&OtherPickup{m.File, m.Pickup, changes}}
}

// otherBatch says that the pickup's magnets were of another batch.
func otherBatch(m *profiles.Mount, before []record.Mounted) []string {
	last := &before[len(before)-1]
	if last.Batch == "" || last.Batch == m.Batch {
		return nil
	}
	return []string{fmt.Sprintf("batch %q, was %q%s", m.Batch, last.Batch, inSession(last))}
}

// otherPoles says which poles stood at other heights, and of a pickup with fewer strings
// which it had.
func otherPoles(m *profiles.Mount, before []record.Mounted) (changes []string) {
	last := lastStrung(before)
	if last == nil {
		return nil
	}
	if n := slices.Max(slices.Collect(maps.Keys(last.Strings))); n > len(m.Strings) {
		changes = append(changes, fmt.Sprintf("no string %d, which it had%s", n, inSession(last)))
	}
	return append(changes, moved(m.Poles, m.PoleHeights, "", last, func(s record.MountedString) float64 { return s.PoleHeight })...)
}

// moved says which poles of a row stood at other heights in a session, where they are not
// screws; of names the row's coil.
func moved(kind profiles.PoleKind, heights []float64, of string, last *record.Mounted, height func(record.MountedString) float64) []string {
	var poles, are, were []string
	for i, h := range heights {
		was, ok := last.Strings[i+1]
		if mm := height(was); ok && math.Abs(h-mm) > sameHeight {
			poles, are, were = append(poles, fmt.Sprint(i+1)), append(are, profiles.Sprintf("%.2f", h)), append(were, profiles.Sprintf("%.2f", mm))
		}
	}
	if poles == nil || kind == profiles.Screw {
		return nil
	}
	return []string{fmt.Sprintf("pole %s%s at %s mm, was at %s mm%s", strings.Join(poles, ", "), of, strings.Join(are, ", "), strings.Join(were, ", "), inSession(last))}
}

// otherCoil says what differs of a second coil. How far a string moves over it beside the
// first is not compared: where along the strings a pickup is belongs to the jig.
func otherCoil(m *profiles.Mount, before []record.Mounted) []string {
	last := lastStrung(before)
	if last == nil {
		return nil
	}
	one, two, subtracted := false, false, false
	for _, s := range last.Strings {
		one, two = one || s.Second == nil, two || s.Second != nil
		subtracted = s.Second != nil && s.Second.Subtracted
	}
	switch {
	case m.Second == nil && two && !one:
		return []string{"one coil, and it had two" + inSession(last)}
	case m.Second != nil && one && !two:
		return []string{"two coils, and it had one" + inSession(last)}
	case m.Second == nil || one: // rows of several mounts
		return nil
	}
	changes := moved(m.Second.Poles, m.Second.PoleHeights, " of the second coil", last, func(s record.MountedString) float64 {
		if s.Second == nil {
			return math.NaN()
		}
		return s.Second.Height
	})
	if subtracts := m.Second.Gain < 0; subtracts != subtracted {
		is, was := "is subtracted", "was added"
		if subtracted {
			is, was = "is added", "was subtracted"
		}
		changes = append(changes, fmt.Sprintf("the second coil's signal %s, and %s%s", is, was, inSession(last)))
	}
	return changes
}

// otherStrings says in what the strings differ from those of the pickup's last session,
// when no session of it was under the mount's strings.
func otherStrings(m *profiles.Mount, before []record.Mounted) []string {
	last := lastStrung(before)
	if last == nil || slices.ContainsFunc(before, func(b record.Mounted) bool { return len(b.Strings) > 0 && differences(m, &b) == nil }) {
		return nil
	}
	return differences(m, last)
}

// differences says in what a mount's strings differ from those of a session.
func differences(m *profiles.Mount, b *record.Mounted) (out []string) {
	if b.Set != "" && m.Set != "" && b.Set != m.Set {
		return []string{fmt.Sprintf("strings %q, were %q%s", m.Set, b.Set, inSession(b))}
	}
	for i, s := range m.Strings {
		was, ok := b.Strings[i+1]
		if ok && (math.Abs(s.Core-was.Core) > sameDiameter || math.Abs(s.Gauge-was.Gauge) > sameDiameter) {
			out = append(out, profiles.Sprintf("string %d of %.3f mm on a core of %.3f mm, was %.3f mm on %.3f mm%s", i+1, s.Gauge, s.Core, was.Gauge, was.Core, inSession(b)))
		}
	}
	return out
}

// lastStrung is the last session that measured strings; nil without any.
func lastStrung(before []record.Mounted) *record.Mounted {
	for i := len(before) - 1; i >= 0; i-- {
		if len(before[i].Strings) > 0 {
			return &before[i]
		}
	}
	return nil
}

// inSession names the session of what was; "" where the record does not.
func inSession(b *record.Mounted) string {
	if b.Session == "" {
		return ""
	}
	return " in session " + b.Session
}
