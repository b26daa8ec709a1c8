package record

import (
	"cmp"
	"iter"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"evenpole/profiles"
)

// Mounted is what the rows of one session that count say of what was on the jig. Where
// they differ, as after a correction, the last one holds.
type Mounted struct {
	Session string
	Batch   string
	Set     string                // of strings; "" when the rows name none
	Strings map[int]MountedString // by number; none in a session of field readings
	last    time.Time             // of its last row
}

// MountedString is a string and its pole, in mm; what a row does not say is NaN.
type MountedString struct {
	Core, Gauge, PoleHeight float64
	Second                  *MountedPole // in a second coil; nil where there is one coil
}

// MountedPole is a string's pole in a second coil.
type MountedPole struct {
	Height     float64 // mm
	Subtracted bool    // the coil's signal is, and does not add
}

// MountedBefore returns what the record in a folder says of a pickup, a session at a
// time, the one that was measured last at the end. Readings that were taken back do not
// count, nor do flagged ones. It is nil for a pickup that the record does not have, or
// where there is no record; a *RowError says that the record cannot be read.
func MountedBefore(dir, pickup string) ([]Mounted, error) {
	m := mountedBefore{at: map[string]int{}}
	readings, err := Sift(ReadFile(filepath.Join(dir, ReadingsFile), Readings), func(r *Reading) bool { return r.Pickup == pickup })
	if err != nil {
		return nil, err
	}
	for r := range standingOf(readings) {
		s := m.of(r.Session, r.Batch, r.Time)
		s.Set = r.StringSet
		s.Strings[r.String] = MountedString{r.Core, r.Gauge, r.PoleHeight, r.secondPole()}
	}
	fields, err := Sift(ReadFile(filepath.Join(dir, FieldsFile), Fields), func(r *FieldReading) bool { return r.Pickup == pickup })
	if err != nil {
		return nil, err
	}
	for f := range standingOf(fields) {
		m.of(f.Session, f.Batch, f.Time)
	}
	slices.SortStableFunc(m.sessions, func(a, b Mounted) int { return a.last.Compare(b.last) })
	return m.sessions, nil
}

// secondPole is what a row says of the pole in a second coil; nil with one coil.
func (r *Reading) secondPole() *MountedPole {
	if !r.TwoCoils() {
		return nil
	}
	return &MountedPole{r.PoleHeight2, strings.HasPrefix(r.Gain2, "-")}
}

// standingOf are the rows that count.
func standingOf[T any](rows []Sifted[T]) iter.Seq[*T] {
	return func(yield func(*T) bool) {
		for i := range rows {
			if rows[i].Why == Counts && !yield(&rows[i].Row) {
				return
			}
		}
	}
}

// mountedBefore gathers sessions.
type mountedBefore struct {
	sessions []Mounted
	at       map[string]int // in sessions
}

// of is the session of a row, which is its last so far.
func (m *mountedBefore) of(session, batch string, at time.Time) *Mounted {
	i, met := m.at[session]
	if !met {
		i = len(m.sessions)
		m.at[session] = i
		m.sessions = append(m.sessions, Mounted{Session: session, Strings: map[int]MountedString{}})
	}
	s := &m.sessions[i]
	s.Batch = cmp.Or(batch, s.Batch)
	if at.After(s.last) {
		s.last = at
	}
	return s
}

// SessionOf returns the session that a capture into the record in a folder would go on
// with: the newest of this purpose, kind and mount; "" where it would be a new one.
func SessionOf(dir string, purpose Purpose, kind string, m *profiles.Mount) (string, error) {
	name, err := MountName(m)
	if err != nil {
		return "", err
	}
	all, err := HoldsIn(dir)
	return all.Latest(purpose, kind, name), err
}
