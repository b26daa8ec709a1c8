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
	Separator string         `json:"separator"` // of cells
	Decimal   string         `json:"decimal"`   // sign; "" when no number has one
	Zone      string         `json:"zone"`      // taken for times that name none; "" when there are none
	Columns   []sheet.Column `json:"columns"`
	Absent    []string       `json:"absent"` // columns of the record that the file lacks
	Rows      int            `json:"rows"`
	Readable  int            `json:"readable"`
	Already   int            `json:"already"`   // readable, and in the record
	Again     int            `json:"again"`     // readable, and taken back in the record: they would stand again
	Elsewhere int            `json:"elsewhere"` // readable and not in the record, but in that of another import
	Refused   []*RowError    `json:"refused"`

	rows     []table.Row
	skipBack bool
}

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
// same name.
//
// A reading that was taken back is not in the record: a row of it stands again. A row
// that the spreadsheet itself takes back further down stays so.
//
// Rows that cannot be read, or have lengths outside the limits of mounts, are in
// Refused. Errors: a *RowError when the file or
// its header cannot be understood, or when the record cannot; a *RefusedError
// when the options name no column of the record.
func ReadImport(r io.Reader, name, dir string, opt ImportOptions) (*Import, error) {
	text, err := io.ReadAll(r)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	m := &Import{File: name, Into: ReadingsFile, Session: opt.Session, Absent: []string{}, Refused: []*RowError{}, skipBack: opt.SkipTakenBack}
	if m.Session == "" {
		base := filepath.Base(name)
		m.Session = "import-" + plain(strings.TrimSuffix(base, filepath.Ext(base)))
	}
	if opt.Zone == nil {
		opt.Zone = time.Local
	}
	if opt.Fields {
		m.Into = FieldsFile
		err = readSheet(m, text, opt, fieldColumns)
	} else {
		err = readSheet(m, text, opt, readingColumns)
	}
	if err != nil {
		return nil, err
	}
	_, err = m.fresh(dir)
	return m, err
}

// layout is that of the file of the record that the rows belong in.
func (m *Import) layout() *table.Layout {
	if m.Into == FieldsFile {
		return fieldColumns.Layout
	}
	return readingColumns.Layout
}

// Import adds what the record does not have already, and tells how many rows
// that were. Refused rows are not its affair. Errors: what is wrong with the
// record, or what the disk has to say; rows that were added then stay, and
// importing again adds the rest.
func (s *Writer) Import(m *Import) (added int, err error) {
	l := s.readings
	if m.Into == FieldsFile {
		l = s.fields
	}
	fresh, err := m.fresh(s.Dir)
	if err != nil {
		return 0, err
	}
	for lot := range slices.Chunk(fresh, 256) { // each waits for the disk once
		if err := l.append(lot...); err != nil {
			return added, err
		}
		added += len(lot)
	}
	return added, nil
}

// readSheet reads the rows of a spreadsheet as rows in the record's own writing.
func readSheet[T any](m *Import, text []byte, opt ImportOptions, t *table.Table[T]) error {
	for _, name := range slices.Sorted(maps.Keys(opt.Set)) {
		if _, ok := t.Index(name); !ok {
			return refused("set: expected a column of %s, got %q", m.Into, name)
		}
	}
	s, err := sheet.Open(text, m.File, opt.Columns, opt.Zone, t.Layout)
	if unknown := (*sheet.NoColumnError)(nil); errors.As(err, &unknown) {
		return refused("%v", unknown)
	}
	if err != nil {
		return err
	}
	m.Columns, m.Separator = s.Columns, s.Separator
	if err := m.lacks(t.Layout, opt.Set); err != nil {
		return err
	}
	for {
		row, err := s.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		m.Rows++
		written, bad := rowOf(m, row, opt.Set, t)
		if bad != nil {
			m.Refused = append(m.Refused, m.byHeader(bad))
			continue
		}
		m.rows = append(m.rows, written)
	}
	m.Readable, m.Decimal = len(m.rows), s.Decimal
	if s.Zoneless {
		m.Zone = opt.Zone.String()
	}
	return nil
}

// lacks notes which columns the file does not have, and refuses it when a
// reading needs one of them.
func (m *Import) lacks(l *table.Layout, set map[string]string) error {
	var missing, headers []string
	for _, c := range m.Columns {
		headers = append(headers, c.Header)
	}
	for _, name := range l.Names {
		has := slices.ContainsFunc(m.Columns, func(c sheet.Column) bool { return c.Column == name })
		if _, isSet := set[name]; has || isSet {
			continue
		}
		m.Absent = append(m.Absent, name)
		if slices.Contains(l.Needed, name) {
			missing = append(missing, name)
		}
	}
	if len(missing) > 0 {
		return table.Errorf(m.File, 1, strings.Join(missing, ", "), "expected in the header, got %q", headers)
	}
	return nil
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
	session := m.Session
	if own := *cell("session"); own != "" {
		session += "-" + own
	}
	*cell("session") = session
	at := table.Place(row.Place)
	x, bad := t.Parse(row.Cells, at)
	if bad != nil {
		return nil, bad
	}
	written := t.Row(&x)
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

// byHeader names a cell by its header, as the person knows it.
func (m *Import) byHeader(e *RowError) *RowError {
	for _, c := range m.Columns {
		if c.Column == e.Column && c.Column != "" {
			return table.Errorf(e.File, e.Line, c.Header, "%s", e.Msg)
		}
	}
	return e
}

// fresh returns the rows that the record does not have, with identities, and counts
// the others.
func (m *Import) fresh(dir string) (rows []table.Row, err error) {
	l := m.layout()
	boot := fmt.Sprintf("%.4X", sha256.Sum256([]byte(m.Session)))
	p, err := readRecorded(filepath.Join(dir, m.Into), boot, m.rows, l)
	whys := whysAmong(m.rows, l)
	m.Already, m.Again, m.Elsewhere = 0, 0, 0
	for i, row := range m.rows {
		a := aboutRow(l, row)
		var found whereabouts
		if a.named {
			found = p.findNamed(&a, whys[i])
		} else {
			a.id, found = p.findUnnamed(digestBesideName(l, row))
			a.named, row = true, withName(l, row, a.id)
		}
		switch {
		case found == inRecord, found == wasTakenBack && m.skipBack:
			m.Already++
			continue
		case found == wasTakenBack:
			m.Again++
		case found == inOtherImport:
			m.Elsewhere++
		}
		p.standing.Meet(&a)
		rows = append(rows, row)
	}
	return rows, err
}
