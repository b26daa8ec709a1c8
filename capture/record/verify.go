package record

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/numbers"
	"evenpole/capture/record/table"
	"evenpole/profiles"
)

// An Audit is what Verify went through.
type Audit struct {
	Files   []AuditedFile `json:"files"`
	Faults  int           `json:"faults"`
	Remarks int           `json:"remarks"`
}

// AuditedFile is one file of a record.
type AuditedFile struct {
	File   string `json:"file"`
	Rows   int    `json:"rows"`
	Sealed int    `json:"sealed"` // rows that say what their seals say
}

// Verify reads a shop's record and tells what is not as it should be. Memory
// grows with power-ups of jigs, gaps, duplicates and rows taken back, not with
// rows. It may run while a capture does: the record is taken as it stands.
//
// Faults are rows that were altered, removed or added since they were written,
// that cannot be read, or that stand twice and were not taken back; and rows of
// sessions.csv that are gone or cannot be read, as far as rows that captures wrote tell
// what stood there, where there is that file. The rest are remarks: gaps in a jig's
// sequence (what is lost on the line is plucked again), times that run backwards (a clock
// that was set), rows that were never sealed.
// Imported rows have times of their own, and rows of readings that were filed anew
// those of the old rows: they are not compared.
//
// Errors: fs.ErrNotExist when there is no record; a *RowError when a file has no
// header; that of ctx when it is done.
func Verify(ctx context.Context, dir string, tell func(Finding)) (Audit, error) {
	v := &verifier{ctx: ctx, dir: dir, powers: map[powerUp]*numbers.Sequence{}, cut: map[ID]cutAmendment{}}
	v.tell = func(f Finding) {
		if f.Fault {
			v.audit.Faults++
		} else {
			v.audit.Remarks++
		}
		tell(f)
	}
	err := errors.Join(
		verifyFile(v, ReadingsFile, readingColumns, aboutReading),
		verifyFile(v, FieldsFile, fieldColumns, aboutField))
	if err == nil && len(v.audit.Files) == 0 {
		err = &fs.PathError{Op: "open", Path: filepath.Join(dir, ReadingsFile), Err: fs.ErrNotExist}
	}
	v.readings()
	for _, f := range v.badHolds {
		v.tell(f)
	}
	return v.audit, err
}

type verifier struct {
	ctx   context.Context
	dir   string
	tell  func(Finding)
	audit Audit

	standing Standing
	repeated []repeatedRow
	powers   map[powerUp]*numbers.Sequence
	order    []powerUp           // as they come
	cut      map[ID]cutAmendment // of readings that do not stand again so far
	badHolds []Finding           // rows of sessions.csv that cannot be read
}

// cutAmendment is a row that takes a reading back so that it can be filed anew.
type cutAmendment struct {
	session string
	numbers.Place
}

// repeatedRow is a row of a reading that stands already.
type repeatedRow struct {
	id  ID
	ref Ref
	numbers.Place
}

// verifyFile reads one file of the record. Its seals are opened first and sessions.csv
// last, as the record may grow meanwhile: a row is written after its hold and before its seal.
func verifyFile[T any](v *verifier, name string, columns *table.Table[T], meaning func(*T) about) error {
	path := filepath.Join(v.dir, name)
	seals, err := openNow(sealsPath(path))
	sealed := err == nil && seals.Size() > 0
	if err == nil {
		defer seals.Close()
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	record, err := openNow(path)
	switch {
	case errors.Is(err, fs.ErrNotExist) && !sealed:
		return nil
	case errors.Is(err, fs.ErrNotExist): // gone, and so are its rows
		record, err = &snapshot{SectionReader: io.NewSectionReader(strings.NewReader(""), 0, 0)}, nil
	case err != nil:
		return err
	default:
		defer record.Close()
	}
	f := &fileVerifier{v: v, path: path}
	if f.commands, v.badHolds, err = readCommands(v.dir); err != nil {
		return err
	}
	m := newMatcher(path, v.tell, disk.BeingWritten(v.dir))
	if sealed {
		m.read(seals)
	}
	defer m.stop()
	if record.Size() > 0 {
		err = verifyRows(m, f, record, columns, meaning)
	}
	m.end()
	f.commands.tell(v.dir, name, v.tell)
	if torn := record.tornEnd(); torn != "" {
		v.tell(Finding{path, 0, 0, Torn, false, torn})
	}
	v.audit.Files = append(v.audit.Files, AuditedFile{path, f.rows, m.sealed})
	return err
}

// verifyRows reads the rows of a file that is not empty.
func verifyRows[T any](m *matcher, f *fileVerifier, record *snapshot, columns *table.Table[T], meaning func(*T) about) error {
	again := func() io.Reader { return io.NewSectionReader(record, 0, record.Size()) }
	if _, err := table.Open(again(), f.path, columns.Layout, nil); err != nil {
		return err
	}
	for row, err := range auditRows(again(), f.path, columns, meaning) {
		if err == nil {
			err = TellRow(f.v.ctx, f.path, f.rows+1)
		}
		if err != nil {
			return err
		}
		m.row(digestedRow{row.digestRow, f.commands.lostBy(&row.about)})
		f.row(&row.about, row.line, row.bad)
	}
	return nil
}

// fileVerifier looks at the rows of a file, each by itself and against those
// before.
type fileVerifier struct {
	v        *verifier
	path     string
	commands *commands
	rows     int
	time     time.Time // of the row before
	line     int       // of the row before
}

func (f *fileVerifier) row(a *about, line int, bad *RowError) {
	f.rows++
	if bad != nil {
		f.v.tell(unreadable(f.path, line, bad))
		return
	}
	if anew := f.count(a, line); !anew {
		f.clock(a, line)
	}
}

func (f *fileVerifier) tell(line int, kind string, fault bool, format string, args ...any) {
	f.v.tell(Finding{f.path, line, line, kind, fault, fmt.Sprintf(format, args...)})
}

// clock looks for times that run backwards. A row that takes another back may
// have kept that one's time.
func (f *fileVerifier) clock(a *about, line int) {
	if a.time.IsZero() || a.id.Jig == importJig || a.status == Retracted {
		return
	}
	if a.time.Before(f.time) {
		f.tell(line, Backwards, false, "its time is %v before that of row %d", f.time.Sub(a.time), f.line)
	}
	f.time, f.line = a.time, line
}

// count files a reading's number, and notes what counts twice or takes nothing back.
// anew is a row of a reading that was taken back above.
func (f *fileVerifier) count(a *about, line int) (anew bool) {
	stands := f.v.standing.Stands(a.id)
	ref, why := f.v.standing.Meet(a)
	if !a.named {
		return false
	}
	at := numbers.Place{File: f.path, Line: line}
	if why != Repeated {
		delete(f.v.cut, a.id)
	}
	switch {
	case why == TakesBack && !stands:
		f.tell(line, NoTarget, false, "it takes back reading %d of jig %q, boot %s, of which no row stands above", a.id.Seq, a.id.Jig, a.id.Boot)
	case why == TakesBack && isAmended(a.note):
		f.v.cut[a.id] = cutAmendment{a.session, at}
	case why == TakesBack:
	case why == Repeated:
		f.v.repeated = append(f.v.repeated, repeatedRow{a.id, ref, at})
	default:
		f.v.sequence(a.id).Add(a.id.Seq, at)
	}
	return ref.before > 0
}

// sequence finds or adds the numbers of a reading's power-up.
func (v *verifier) sequence(id ID) *numbers.Sequence {
	p := powerUp{id.Jig, id.Boot}
	s := v.powers[p]
	if s == nil {
		s = &numbers.Sequence{}
		v.powers[p] = s
		v.order = append(v.order, p)
	}
	return s
}

// readings tells which readings stand twice and which are missing, once all rows
// are known.
func (v *verifier) readings() {
	for _, r := range v.repeated {
		if !v.standing.IsTakenBack(r.ref) {
			v.tell(Finding{r.File, r.Line, r.Line, Duplicate, true, fmt.Sprintf("reading %d of jig %q, boot %s stands above already: the first one counts", r.id.Seq, r.id.Jig, r.id.Boot)})
		}
	}
	byPlace := func(a, b ID) int {
		x, y := v.cut[a], v.cut[b]
		return cmp.Or(strings.Compare(y.File, x.File), cmp.Compare(x.Line, y.Line))
	}
	for _, id := range slices.SortedFunc(maps.Keys(v.cut), byPlace) {
		c := v.cut[id]
		v.tell(Finding{c.File, c.Line, c.Line, Unfinished, false,
			fmt.Sprintf("reading %d of jig %q, boot %s was taken back to be filed anew and does not stand again: run 'evenpole record amend --session %s' again", id.Seq, id.Jig, id.Boot, c.session)})
	}
	for _, p := range v.order {
		s := v.powers[p]
		for i := 1; i < len(s.Spans); i++ {
			a, b := s.Spans[i-1], s.Spans[i]
			v.tell(Finding{b.First.File, b.First.Line, b.First.Line, Gap, false,
				fmt.Sprintf("not in the record: %s of jig %q, boot %s, from %d, after row %d of %s, to %d", profiles.Count(int(b.From-a.To-1), "reading"), p.jig, p.boot, uint32(a.To+1), a.Last.Line, filepath.Base(a.Last.File), uint32(b.From-1))})
		}
	}
}
