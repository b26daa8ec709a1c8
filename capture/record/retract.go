package record

import (
	"fmt"
	"iter"
	"path/filepath"
	"strings"
	"time"

	"evenpole/capture/record/table"
)

// A Target says what to take back: one reading by its identity, one row by its
// place, or a session. Only one of the three is asked for.
type Target struct {
	Jig, Boot string
	Seq       uint32

	File string // ReadingsFile or FieldsFile
	Row  int    // line of the file, the header is 1

	Session string
}

func (t *Target) String() string {
	switch {
	case t.Session != "":
		return fmt.Sprintf("session %q", t.Session)
	case t.Row > 0:
		return fmt.Sprintf("row %d of %s", t.Row, t.File)
	}
	return fmt.Sprintf("reading %d of jig %q, boot %s", t.Seq, t.Jig, t.Boot)
}

func (t *Target) covers(file string, line int, a *about) bool {
	switch {
	case t.Session != "":
		return a.session == t.Session
	case t.Row > 0:
		return t.File == file && t.Row == line
	}
	return a.named && a.id == ID{t.Jig, t.Boot, t.Seq}
}

// Retraction is what Retract did.
type Retraction struct {
	Readings int `json:"readings"` // taken back
	Fields   int `json:"fields"`   // taken back
	Already  int `json:"already"`  // had been taken back before
	Nameless int `json:"nameless"` // have no jig, boot and seq to take them back by
}

// RefusedError says that what was asked for cannot be. Nothing was done.
type RefusedError struct{ Msg string }

// Error returns the message.
func (e *RefusedError) Error() string { return e.Msg }

func refused(format string, args ...any) error {
	return &RefusedError{fmt.Sprintf(format, args...)}
}

// Check returns what Retract would have against a target, nil when nothing. It
// only reads.
func (t *Target) Check(dir string) error {
	_, err := find(dir, t)
	return err
}

// Retract takes readings back: it adds a row with the status retracted for each,
// which says what the reading's own row says but for the time, which is now, and
// the note, which gives the reason.
//
// Errors: a *RefusedError when there is nothing to take back, or all of it was;
// what is wrong with the record; what the disk has to say, and Retraction then
// counts what was done.
func (s *Writer) Retract(t Target, reason string, now time.Time) (Retraction, error) {
	found, err := find(s.Dir, &t)
	if err != nil {
		return Retraction{}, err
	}
	note := "taken back"
	if reason = oneLine(reason); reason != "" {
		note += ": " + reason
	}
	var readings []table.Row
	for _, r := range found.readings {
		r.Time, r.Status, r.Note = now, Retracted, note
		readings = append(readings, readingColumns.Row(&r))
	}
	var fields []table.Row
	for _, f := range found.fields {
		f.Time, f.Status, f.Note = now, Retracted, note
		fields = append(fields, fieldColumns.Row(&f))
	}
	done := Retraction{Already: found.already, Nameless: found.nameless}
	if err := s.fields.accepts(fields); err != nil {
		return done, err
	}
	if err := s.readings.append(readings...); err != nil {
		return done, err
	}
	done.Readings = len(readings)
	if err := s.fields.append(fields...); err != nil {
		return done, err
	}
	done.Fields = len(fields)
	return done, nil
}

// oneLine is a text without line ends and doubled spaces.
func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

// found is what a target covers.
type found struct {
	readings          []Reading
	fields            []FieldReading
	already, nameless int
}

func find(dir string, t *Target) (f found, err error) {
	f.readings, err = covered(t, ReadingsFile, ReadFile(filepath.Join(dir, ReadingsFile), Readings),
		func(r *Reading) (about, int) { return aboutReading(r), r.Line }, &f)
	if err != nil {
		return f, err
	}
	f.fields, err = covered(t, FieldsFile, ReadFile(filepath.Join(dir, FieldsFile), Fields),
		func(r *FieldReading) (about, int) { return aboutField(r), r.Line }, &f)
	switch {
	case err != nil || len(f.readings)+len(f.fields) > 0:
	case f.already > 0:
		err = refused("%v was taken back already", t)
	case f.nameless > 0:
		err = refused("%v has no jig, boot and seq to take it back by", t)
	default:
		err = refused("%v is not in the record", t)
	}
	return f, err
}

// covered returns the rows that a target covers and that can be taken back: each
// reading once, and none that was taken back.
func covered[T any, P interface {
	*T
	Row
}](t *Target, file string, rows iter.Seq2[T, error], meaning func(*T) (about, int), f *found) ([]T, error) {
	var standing Standing
	var all []T
	var refs []Ref
	twice := map[Ref]bool{}
	for x, err := range rows {
		if err != nil {
			return nil, err
		}
		ref, why := standing.Meet(P(&x))
		a, line := meaning(&x)
		switch covers := t.covers(file, line, &a); {
		case !covers:
		case why == TakesBack && t.Row > 0:
			return nil, refused("%v takes another row back itself", t)
		case why == TakesBack:
		case !a.named:
			f.nameless++
		case !twice[ref]:
			twice[ref] = true
			all, refs = append(all, x), append(refs, ref)
		}
	}
	var left []T
	for i, x := range all {
		if standing.IsTakenBack(refs[i]) {
			f.already++
		} else {
			left = append(left, x)
		}
	}
	return left, nil
}
