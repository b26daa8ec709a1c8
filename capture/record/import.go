package record

import (
	"cmp"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"evenpole/capture/record/sheet"
	"evenpole/capture/record/table"
)

// ImportOptions say how to understand a spreadsheet. Zero values mean the
// defaults.
type ImportOptions struct {
	Fields  bool              // field readings, not readings
	Session string            // "import-" and the name of the file
	Columns map[string]string // a header of the file: a column of the record, or one in another unit
	Set     map[string]string // a column of the record: its value where the file has none
	Zone    *time.Location    // of times that name none: this machine's

	SkipTakenBack bool // leave out rows of readings that the record has taken back
}

// An Import is a spreadsheet as it was understood.
type Import struct {
	File      string         `json:"file"`
	Into      string         `json:"into"` // ReadingsFile or FieldsFile
	Session   string         `json:"session"`
	Titles    int            `json:"title_rows"` // lines over the header
	Separator string         `json:"separator"`  // of cells
	Decimal   string         `json:"decimal"`    // sign; "" when no number has one
	Zone      string         `json:"zone"`       // taken for times that name none; "" when there are none
	Columns   []sheet.Column `json:"columns"`
	Absent    []string       `json:"absent"` // columns of the record that the file lacks
	Rows      int            `json:"rows"`
	Readable  int            `json:"readable"`
	Already   int            `json:"already"`   // readable, and in the record
	Again     int            `json:"again"`     // readable, and taken back in the record: they would stand again
	Elsewhere int            `json:"elsewhere"` // readable and not in the record, but in that of another import
	Refused   []*RowError    `json:"refused"`   // the first of them, MostRefused at most

	RefusedRows int `json:"refused_rows"` // all of them
	Own         int `json:"own"`          // readable, of readings that the shop's own sessions commanded: they stay theirs

	opt  ImportOptions
	file *sheet.Contents
	each func(do func(table.Row) error) error // reads the spreadsheet again, for the rows that are readable
	own  Standing                             // of its rows: which of them it takes back itself

	holds Holds // which readings the shop's own sessions commanded
}

// MostRefused is how many refused rows an Import tells the mistake of.
const MostRefused = 1000

// New is how many rows Import would add.
func (m *Import) New() int { return m.Readable - m.Already }

// ReadImport reads a spreadsheet and compares it with a shop's record. It is
// CSV in UTF-8, with commas, semicolons or tabs between cells; with the latter
// two, numbers may have a decimal comma. Headers name columns of the record in
// any writing ("String height (mm)"); inches may stand for mm, uV or V for mV,
// and T, uT or G for mT. Times are RFC 3339, or such as 2025-03-03 08:49. Rows
// without anything in them are passed over.
//
// A row with a jig, boot and seq keeps them. A row without needs string, core,
// both heights and level; of field readings, the field. A session that the file
// names becomes a part of that of the import, as the record has sessions of the
// same name. A reading that the shop commanded for that very session, as sessions.csv
// says, stays that session's: the rows were the record's own, and come back.
//
// A reading that was taken back is not in the record: a row of it stands again. A row
// that the spreadsheet itself takes back further down stays so.
//
// Rows that cannot be read, or have lengths outside the limits of mounts, are in
// Refused. Errors: a *RowError when the file or
// its header cannot be understood, or when the record cannot; a *RefusedError
// when the options name no column of the record.
//
// The spreadsheet is read from its beginning more than once, here and by Import, and
// never held: memory grows by some 100 bytes for each row of the record that came from a
// spreadsheet, and as [Standing] says.
func ReadImport(r io.ReadSeeker, name, dir string, opt ImportOptions) (*Import, error) {
	m := &Import{File: name, Into: ReadingsFile, Session: opt.Session, Refused: []*RowError{}, opt: opt}
	if m.Session == "" {
		base := filepath.Base(name)
		m.Session = "import-" + plain(strings.TrimSuffix(base, filepath.Ext(base)))
	}
	if m.opt.Zone == nil {
		m.opt.Zone = time.Local
	}
	var err error
	if m.holds, err = HoldsIn(dir); err != nil {
		return nil, err
	}
	if m.file, err = sheet.Read(r, name); err != nil {
		return nil, err
	}
	if opt.Fields {
		m.Into = FieldsFile
		err = readSheet(m, fieldColumns)
	} else {
		err = readSheet(m, readingColumns)
	}
	if err != nil {
		return nil, err
	}
	return m, m.sift(dir, nil)
}

// layout is that of the file of the record that the rows belong in.
func (m *Import) layout() *table.Layout {
	if m.Into == FieldsFile {
		return fieldColumns.Layout
	}
	return readingColumns.Layout
}

// Import adds what the record does not have already, and tells how many rows
// that were. Refused rows are not its affair. All rows are looked at before the first is
// added. Errors: what is wrong with the record, or with the spreadsheet if that is another
// by now, and nothing was added then; what the disk has to say: rows that were added stay
// then, and importing again adds the rest.
func (s *Writer) Import(m *Import) (added int, err error) {
	l := s.readings
	if m.Into == FieldsFile {
		l = s.fields
	}
	if err := m.sift(s.Dir, func(row table.Row) error { return l.accepts([]table.Row{row}) }); err != nil {
		return 0, err
	}
	const most = 256 // rows that wait for the disk together
	lot := make([]table.Row, 0, most)
	add := func() error {
		if err := l.append(lot...); err != nil {
			return err
		}
		added += len(lot)
		lot = lot[:0]
		return nil
	}
	err = m.sift(s.Dir, func(row table.Row) error {
		if lot = append(lot, row); len(lot) < most {
			return nil
		}
		return add()
	})
	if err == nil {
		err = add()
	}
	return added, err
}

// readSheet reads a spreadsheet for what can be said of it without the record.
func readSheet[T any](m *Import, t *table.Table[T]) error {
	for _, name := range slices.Sorted(maps.Keys(m.opt.Set)) {
		if _, ok := t.Index(name); !ok {
			return refused("set: expected a column of %s, got %q", m.Into, name)
		}
	}
	s, err := openSheet(m, t)
	if unknown := (*sheet.NoColumnError)(nil); errors.As(err, &unknown) {
		return refused("%v", unknown)
	}
	if err != nil {
		return err
	}
	m.Columns, m.Separator, m.Titles = s.Columns, s.Separator, s.Titles
	if m.Absent, err = s.Lacks(m.opt.Set); err != nil {
		return err
	}
	err = sheetRows(m, s, t, func(row table.Row, bad *RowError) error {
		m.Rows++
		if bad != nil {
			m.refuse(bad)
			return nil
		}
		m.Readable++
		a := aboutRow(t.Layout, row)
		m.own.Meet(&a)
		if a.named && m.isOwn(*t.Cell(row, "session"), a.id) {
			m.Own++
		}
		return nil
	})
	m.Decimal = s.Decimal
	if s.Zoneless {
		m.Zone = m.opt.Zone.String()
	}
	m.each = func(do func(table.Row) error) error {
		s, err := openSheet(m, t)
		if err != nil {
			return err
		}
		return sheetRows(m, s, t, func(row table.Row, bad *RowError) error {
			if bad != nil {
				return nil
			}
			return do(row)
		})
	}
	return err
}

// openSheet opens the spreadsheet from its beginning.
func openSheet[T any](m *Import, t *table.Table[T]) (*sheet.Sheet, error) {
	r, err := m.file.Again()
	if err != nil {
		return nil, err
	}
	return sheet.Open(r, m.File, m.opt.Columns, m.opt.Zone, t.Layout)
}

// sheetRows reads a spreadsheet to its end as rows in the record's own writing, or what
// is wrong with them.
func sheetRows[T any](m *Import, s *sheet.Sheet, t *table.Table[T], do func(table.Row, *RowError) error) error {
	for {
		row, err := s.Next()
		if err == io.EOF {
			return m.file.Same()
		}
		if err == nil {
			err = do(rowOf(m, row, m.opt.Set, t))
		}
		if err != nil {
			return err
		}
	}
}

func (m *Import) refuse(bad *RowError) {
	if m.RefusedRows++; len(m.Refused) < MostRefused {
		m.Refused = append(m.Refused, sheet.ByHeader(m.Columns, bad))
	}
}

// rowOf turns a row of a spreadsheet into one of the record.
func rowOf[T any](m *Import, row *sheet.Row, set map[string]string, t *table.Table[T]) (table.Row, *RowError) {
	if row.Bad != nil {
		return nil, row.Bad
	}
	cell := func(name string) *string { return t.Cell(row.Cells, name) }
	for name, value := range set {
		*cell(name) = cmp.Or(*cell(name), value)
	}
	named := *cell("session")
	*cell("session") = strings.TrimSuffix(m.Session+"-"+named, "-")
	at := table.Place(row.Place)
	x, bad := t.Parse(row.Cells, at)
	if bad != nil {
		return nil, bad
	}
	written := t.Row(&x)
	if a := aboutRow(t.Layout, written); a.named && m.isOwn(named, a.id) {
		*t.Cell(written, "session") = named
	}
	if *cell("status") != string(Retracted) { // what was wrong can be taken back
		if bad := sheet.OutsideLimits(t.Layout, written, row, m.Columns); bad != nil {
			return nil, bad
		}
	}
	if *cell("jig") != "" && *cell("boot") != "" && *cell("seq") != "" {
		return written, nil
	}
	for _, name := range t.Needed {
		if *cell(name) == "" {
			return nil, at.Expected(name, "a value", "")
		}
	}
	if *cell("status") == string(Retracted) {
		return nil, at.Expected("status", "a jig, boot and seq with it, to tell what is taken back", string(Retracted))
	}
	for _, name := range []string{"jig", "boot", "seq"} {
		*t.Cell(written, name) = ""
	}
	return written, nil
}

// isOwn reports whether the shop commanded a reading for a session.
func (m *Import) isOwn(session string, id ID) bool {
	return m.opt.Session == "" && session != "" && m.holds.Owner(id.Jig, id.Boot, id.Seq) == session
}

// sift goes over the rows by what the record has of them now, and counts them. do gets
// those that the record does not have, with identities; it may be nil.
func (m *Import) sift(dir string, do func(table.Row) error) error {
	l := m.layout()
	boot := fmt.Sprintf("%.4X", sha256.Sum256([]byte(m.Session)))
	p, err := readRecorded(filepath.Join(dir, m.Into), boot, &m.own, l)
	if err != nil {
		return err
	}
	m.Already, m.Again, m.Elsewhere = 0, 0, 0
	var own Standing
	return m.each(func(row table.Row) error {
		a := aboutRow(l, row)
		var found whereabouts
		if ref, why := own.Meet(&a); a.named {
			found = p.findNamed(&a, m.own.among(ref, why))
		} else {
			a.id, found = p.findUnnamed(besideName(l, row))
			a.named, row = true, withName(l, row, a.id)
		}
		switch {
		case found == inRecord, found == wasTakenBack && m.opt.SkipTakenBack:
			m.Already++
			return nil
		case found == wasTakenBack:
			m.Again++
		case found == inOtherImport:
			m.Elsewhere++
		}
		p.standing.Meet(&a)
		if do == nil {
			return nil
		}
		return do(row)
	})
}
