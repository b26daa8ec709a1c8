package record

import (
	"fmt"
	"iter"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"evenpole/capture/record/table"
	"evenpole/profiles"
)

// An Amending says what to file anew: the readings of a session, with what a mount
// says is on the jig.
type Amending struct {
	Session string
	Mount   *profiles.Mount
	Reason  string // goes into the notes of the rows that take readings back
}

// Amendment is what Amend did.
type Amendment struct {
	Session   string `json:"session"`
	Mount     string `json:"mount"`     // name of the shop's copy
	Readings  int    `json:"readings"`  // filed anew
	Fields    int    `json:"fields"`    // filed anew
	Unchanged int    `json:"unchanged"` // said already what the mount says
}

// amended begins the note of a row that takes a reading back so that it can be filed
// anew. A reading whose last row has such a note was cut off in between.
const amended = "amended"

// Check returns what Amend would have against it, nil when nothing. It only reads.
func (a *Amending) Check(dir string) error {
	_, err := a.plan(dir, time.Time{})
	return err
}

// Amend files the readings of a session anew: of each that says otherwise than the
// mount a row with the status retracted takes the old row back, and a row under the
// same jig, boot and seq says what the mount says, and for the rest what the old one
// said. The session goes on as one of this mount. Nothing is written unless all of it
// can be. A crash leaves at most one reading taken back that does not stand again;
// the same call finishes what was cut off, and adds nothing to what is done.
//
// Errors: a *RefusedError when the session is not in the record or was taken back, has
// rows without jig, boot and seq, rows of several mountings, or strings or positions
// that the mount does not have; what is wrong with the record; what the disk has to
// say.
func (s *Writer) Amend(a Amending, now time.Time) (Amendment, error) {
	done := Amendment{Session: a.Session}
	p, err := a.plan(s.Dir, now)
	if err != nil {
		return done, err
	}
	done.Unchanged = p.readings.unchanged + p.fields.unchanged
	if done.Mount, err = MountName(a.Mount); err != nil {
		return done, err
	}
	hold, err := s.amendedHold(a.Session, done.Mount)
	if err != nil {
		return done, err
	}
	if err := s.readings.accepts(p.readings.rows); err != nil {
		return done, err
	}
	if err := s.fields.accepts(p.fields.rows); err != nil {
		return done, err
	}
	if err := s.KeepMount(done.Mount, a.Mount); err != nil {
		return done, err
	}
	if err := s.readings.append(p.readings.rows...); err != nil {
		return done, err
	}
	done.Readings = p.readings.changed
	if err := s.fields.append(p.fields.rows...); err != nil {
		return done, err
	}
	done.Fields = p.fields.changed
	if hold == nil {
		return done, nil
	}
	hold.Time, hold.Pickup = now, a.Mount.Pickup
	return done, s.AddHold(*hold)
}

// amendedHold returns the hold that says that a session is one of another mount; nil
// where it is one already, or was not captured here.
func (s *Writer) amendedHold(session, mount string) (*Hold, error) {
	all, err := s.Holds()
	if err != nil {
		return nil, err
	}
	for _, h := range slices.Backward(all) {
		if h.Session == session && h.Mount == mount {
			return nil, nil
		}
		if h.Session == session {
			return &Hold{Session: session, Purpose: h.Purpose, Kind: h.Kind, Mount: mount, Operator: all.Operators()[session]}, nil
		}
	}
	return nil, nil
}

// amendment is what is to be written.
type amendment struct{ readings, fields amendedRows }

type amendedRows struct {
	found     int // readings of the session that stand, or were cut off
	changed   int
	unchanged int
	back      int         // readings that were taken back otherwise
	nameless  int         // rows
	rows      []table.Row // to add, each old row's end before its new row
}

// plan finds out what is to be written.
func (a *Amending) plan(dir string, now time.Time) (p amendment, err error) {
	note := amended
	if reason := oneLine(a.Reason); reason != "" {
		note += ": " + reason
	}
	readings := amender[Reading, *Reading]{
		Amending: a, table: readingColumns, meaning: aboutReading,
		mounted: func(r *Reading) (string, bool) { return fmt.Sprintf("string %d", r.String), r.SetMount(a.Mount) },
		end:     func(r *Reading) { r.Time, r.Status, r.Note = now, Retracted, note },
	}
	if p.readings, err = readings.amend(ReadFile(filepath.Join(dir, ReadingsFile), Readings)); err != nil {
		return p, err
	}
	fields := amender[FieldReading, *FieldReading]{
		Amending: a, table: fieldColumns, meaning: aboutField,
		mounted: func(f *FieldReading) (string, bool) {
			return fmt.Sprintf("position %d", f.Position), f.SetMount(a.Mount)
		},
		end: func(f *FieldReading) { f.Time, f.Status, f.Note = now, Retracted, note },
	}
	if p.fields, err = fields.amend(ReadFile(filepath.Join(dir, FieldsFile), Fields)); err != nil {
		return p, err
	}
	nameless, back := p.readings.nameless+p.fields.nameless, p.readings.back+p.fields.back
	switch {
	case nameless > 0:
		return p, refused("session %q has %s without jig, boot and seq, which cannot be filed anew", a.Session, profiles.Count(nameless, "row"))
	case p.readings.found+p.fields.found > 0:
		return p, nil
	case back > 0:
		return p, refused("session %q was taken back", a.Session)
	}
	return p, refused("session %q is not in the record", a.Session)
}

// amender files the rows of one file anew.
type amender[T any, P interface {
	*T
	Row
}] struct {
	*Amending
	table   *table.Table[T]
	meaning func(*T) about
	mounted func(*T) (what string, ok bool) // fills in the mount; what is not there when it is not ok
	end     func(*T)                        // makes the row one that takes back
}

// filed is a reading of the session: its last row that is no retraction.
type filed[T any] struct {
	row T
	ref Ref
	cut bool // taken back to be filed anew, and that was not done
}

func (m *amender[T, P]) amend(rows iter.Seq2[T, error]) (out amendedRows, err error) {
	var standing Standing
	all, nameless, err := m.ofSession(rows, &standing)
	if err != nil {
		return out, err
	}
	out.nameless = nameless
	cells := map[string]table.Row{} // rows that are to be filed anew, the first of each string or position
	for _, f := range all {
		if !f.cut && standing.IsTakenBack(f.ref) {
			out.back++
			continue
		}
		out.found++
		anew := f.row
		what, ok := m.mounted(&anew)
		if !ok {
			return out, refused("session %q has readings of %s, which the mount %s does not have", m.Session, what, m.Mount.File)
		}
		before, after := m.table.Row(&f.row), m.table.Row(&anew)
		if slices.Equal(before, after) && !f.cut {
			out.unchanged++
			continue
		}
		if first, met := cells[what]; !met {
			cells[what] = before
		} else if column, differs := m.otherCell(first, before); differs {
			return out, refused("session %q has rows of several mountings, and a mount says one: %s of %s is %q and %q", m.Session, column, what, *m.table.Cell(first, column), *m.table.Cell(before, column))
		}
		if !f.cut {
			back := f.row
			m.end(&back)
			out.rows = append(out.rows, m.table.Row(&back))
		}
		out.rows = append(out.rows, after)
		out.changed++
	}
	return out, nil
}

// ofSession returns the readings of the session in the order of their first rows, and
// how many rows have no name to file them anew by.
func (m *amender[T, P]) ofSession(rows iter.Seq2[T, error], standing *Standing) (all []filed[T], nameless int, err error) {
	at := map[ID]int{}
	for x, err := range rows {
		if err != nil {
			return nil, 0, err
		}
		ref, why := standing.Meet(P(&x))
		a := m.meaning(&x)
		if a.session != m.Session {
			continue
		}
		i, met := at[a.id]
		switch {
		case why == TakesBack && met:
			all[i].cut = a.named && isAmended(a.note)
		case why == TakesBack, why == Repeated:
		case !a.named:
			nameless++
		case met:
			all[i] = filed[T]{row: x, ref: ref}
		default:
			at[a.id] = len(all)
			all = append(all, filed[T]{row: x, ref: ref})
		}
	}
	return all, nameless, nil
}

// isAmended tells whether a row takes a reading back so that it can be filed anew.
func isAmended(note string) bool { return note == amended || strings.HasPrefix(note, amended+": ") }

// otherCell returns the first column of what a mount says in which two rows differ.
func (m *amender[T, P]) otherCell(a, b table.Row) (column string, differs bool) {
	for _, name := range mountColumns {
		if i, ok := m.table.Index(name); ok && a[i] != b[i] {
			return name, true
		}
	}
	return "", false
}
