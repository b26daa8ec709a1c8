package record

import (
	"cmp"
	"crypto/sha256"
	"fmt"
	"io"
	"maps"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"
)

// importJig is the jig of readings that came from a spreadsheet without a jig,
// boot and seq of their own. Their boot is a digest of the session's name, and
// they are numbered one by one.
const importJig = "import"

// ImportOptions say how to understand a spreadsheet. Zero values mean the
// defaults.
type ImportOptions struct {
	Fields  bool              // field readings, not readings
	Session string            // "import-" and the name of the file
	Columns map[string]string // a header of the file: a column of the record, or one in another unit
	Set     map[string]string // a column of the record: its value where the file has none
	Zone    *time.Location    // of times that name none: this machine's
}

// An Import is a spreadsheet as it was understood.
type Import struct {
	File      string         `json:"file"`
	Into      string         `json:"into"` // ReadingsFile or FieldsFile
	Session   string         `json:"session"`
	Separator string         `json:"separator"` // of cells
	Decimal   string         `json:"decimal"`   // sign; "" when no number has one
	Zone      string         `json:"zone"`      // taken for times that name none; "" when there are none
	Columns   []ImportColumn `json:"columns"`
	Absent    []string       `json:"absent"` // columns of the record that the file lacks
	Rows      int            `json:"rows"`
	Readable  int            `json:"readable"`
	Already   int            `json:"already"`   // readable, and in the record
	Elsewhere int            `json:"elsewhere"` // readable and not in the record, but in that of another import
	Refused   []*RowError    `json:"refused"`

	readings []readingRow
	fields   []fieldRow
}

// An ImportColumn is a column of a spreadsheet and what it was taken for.
type ImportColumn struct {
	Header string `json:"header"`
	Column string `json:"column"` // of the record; "" when it was left out
	Unit   string `json:"unit"`   // that of the file, when it is another
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
// Rows that cannot be read are in Refused. Errors: a *RowError when the file or
// its header cannot be understood, or when the record cannot; a *RefusedError
// when the options name no column of the record.
func ReadImport(r io.Reader, name, dir string, opt ImportOptions) (*Import, error) {
	text, err := io.ReadAll(r)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	m := &Import{File: name, Into: ReadingsFile, Session: opt.Session, Absent: []string{}, Refused: []*RowError{}}
	if m.Session == "" {
		base := filepath.Base(name)
		m.Session = "import-" + plain(strings.TrimSuffix(base, filepath.Ext(base)))
	}
	if opt.Zone == nil {
		opt.Zone = time.Local
	}
	if opt.Fields {
		m.Into = FieldsFile
		m.fields, err = readSheet(m, text, opt, needField, func(w *fieldRow, c *cells) fieldRow { x := w.parse(c); return x.row() })
	} else {
		m.readings, err = readSheet(m, text, opt, needReading, func(w *readingRow, c *cells) readingRow { x := w.parse(c); return x.row() })
	}
	if err != nil {
		return nil, err
	}
	return m, m.compare(dir)
}

// compare counts what the record has already.
func (m *Import) compare(dir string) (err error) {
	if m.Into == FieldsFile {
		_, err = freshRows(m, dir, m.fields)
	} else {
		_, err = freshRows(m, dir, m.readings)
	}
	return err
}

// Import adds what the record does not have already, and tells how many rows
// that were. Refused rows are not its affair. Errors: what is wrong with the
// record, or what the disk has to say; rows that were added then stay, and
// importing again adds the rest.
func (s *Writer) Import(m *Import) (added int, err error) {
	if m.Into == FieldsFile {
		return addRows(m, s.Dir, s.fields, m.fields)
	}
	return addRows(m, s.Dir, s.readings, m.readings)
}

// addRows writes in lots, each of which waits for the disk once.
func addRows[W any](m *Import, dir string, l *ledger[W], rows []W) (added int, err error) {
	fresh, err := freshRows(m, dir, rows)
	if err != nil {
		return 0, err
	}
	for lot := range slices.Chunk(fresh, 256) {
		if err := l.append(lot...); err != nil {
			return added, err
		}
		added += len(lot)
	}
	return added, nil
}

// readSheet reads the rows of a spreadsheet as rows of type W in the record's
// own writing.
func readSheet[W any](m *Import, text []byte, opt ImportOptions, need []string, write func(*W, *cells) W) ([]W, error) {
	known := columnsOf[W]()
	for _, name := range slices.Sorted(maps.Keys(opt.Set)) {
		if !slices.Contains(known, name) {
			return nil, refused("set: expected a column of %s, got %q", m.Into, name)
		}
	}
	s, err := openSheet(text, m.File, opt.Columns, known)
	if err != nil {
		return nil, err
	}
	s.zone = opt.Zone
	m.Columns, m.Separator = s.columns, string(s.csv.Comma)
	if err := m.lacks(known, need, opt.Set, s.columns); err != nil {
		return nil, err
	}
	var rows []W
	for {
		row, err := s.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
		m.Rows++
		w, bad := rowOf(m, row, opt.Set, need, write)
		if bad != nil {
			m.Refused = append(m.Refused, m.byHeader(bad))
			continue
		}
		rows = append(rows, w)
	}
	m.Readable, m.Decimal = len(rows), s.decimal
	if s.zoned {
		m.Zone = opt.Zone.String()
	}
	return rows, nil
}

// lacks notes which columns the file does not have, and refuses it when a
// reading needs one of them.
func (m *Import) lacks(known, need []string, set map[string]string, have []ImportColumn) error {
	var missing, headers []string
	for _, c := range have {
		headers = append(headers, c.Header)
	}
	for _, name := range known {
		has := slices.ContainsFunc(have, func(c ImportColumn) bool { return c.Column == name })
		if _, isSet := set[name]; has || isSet {
			continue
		}
		m.Absent = append(m.Absent, name)
		if slices.Contains(need, name) {
			missing = append(missing, name)
		}
	}
	if len(missing) > 0 {
		return &RowError{m.File, 1, strings.Join(missing, ", "), fmt.Sprintf("expected in the header, got %q", headers)}
	}
	return nil
}

// rowOf turns a row of a spreadsheet into one of the record.
func rowOf[W any](m *Import, row *sheetRow, set map[string]string, need []string, write func(*W, *cells) W) (w W, bad *RowError) {
	if row.bad != nil {
		return w, row.bad
	}
	for name, value := range set {
		row.values[name] = cmp.Or(row.values[name], value)
	}
	session := m.Session
	if own := row.values["session"]; own != "" {
		session += "-" + own
	}
	row.values["session"] = session
	fillRow(&w, row.values)
	c := &cells{line: row.line, place: func(column string) (string, int) { return m.File, cmp.Or(row.lines[column], row.line) }}
	written := write(&w, c)
	if own := row.values["jig"] != "" && row.values["boot"] != "" && row.values["seq"] != ""; !own {
		for _, name := range need {
			if row.values[name] == "" {
				c.fail(name, "", "a value")
			}
		}
		if row.values["status"] == string(Retracted) {
			c.fail("status", string(Retracted), "a jig, boot and seq with it, to tell what is taken back")
		}
		fillRow(&written, map[string]string{"jig": "", "boot": "", "seq": ""})
	}
	return written, c.err
}

// byHeader names a cell by its header, as the person knows it.
func (m *Import) byHeader(e *RowError) *RowError {
	for _, c := range m.Columns {
		if c.Column == e.Column && c.Column != "" {
			return &RowError{e.File, e.Line, c.Header, e.Msg}
		}
	}
	return e
}

// fillRow sets the cells of a row by the names of its columns.
func fillRow[W any](w *W, values map[string]string) {
	v := reflect.ValueOf(w).Elem()
	for i := range v.NumField() {
		if text, ok := values[v.Type().Field(i).Tag.Get("csv")]; ok {
			v.Field(i).SetString(text)
		}
	}
}

// nameless are the cells that name a row; what is left is what it says.
var nameless = map[string]string{"session": "", "jig": "", "boot": "", "seq": ""}

// An importedName is what makes a row of a spreadsheet the same as one of the
// record: a row that takes a reading back is another than the reading's own.
type importedName struct {
	jig, boot, seq string
	back           bool
}

func nameOf[W any](w *W) importedName {
	return importedName{cellOf(w, "jig"), cellOf(w, "boot"), cellOf(w, "seq"), cellOf(w, "status") == string(Retracted)}
}

// prior is what the record has of a spreadsheet.
type prior struct {
	named  map[importedName]bool // of the spreadsheet's names: whether the record has it
	ours   map[string]int        // what rows of the same import say, and how often
	others map[string]bool       // what rows of other imports say
	last   uint64                // the highest number of the same import
}

func priorOf[W any](record, boot string, rows []W) (*prior, error) {
	p := &prior{named: map[importedName]bool{}, ours: map[string]int{}, others: map[string]bool{}}
	for i := range rows {
		p.named[nameOf(&rows[i])] = false
	}
	return p, scanFile(record, func(w *W, _ *cells, _ *RowError) {
		if w == nil {
			return
		}
		name := nameOf(w)
		if _, ok := p.named[name]; ok {
			p.named[name] = true
		}
		switch {
		case name.jig != importJig || name.back:
		case name.boot == boot:
			p.ours[saysOf(*w)]++
			n, _ := strconv.ParseUint(name.seq, 10, 32) // what is no number is none of ours
			p.last = max(p.last, n)
		default:
			p.others[saysOf(*w)] = true
		}
	})
}

// freshRows returns the rows that the record does not have, with identities, and
// counts the others. A row with an identity of its own is in the record when that
// is. Any other one is when a row of this import's session says the same; equal
// rows count as often as they stand, wherever they stand in the spreadsheet by
// now.
func freshRows[W any](m *Import, dir string, rows []W) (fresh []W, err error) {
	boot := fmt.Sprintf("%.4X", sha256.Sum256([]byte(m.Session)))
	p, err := priorOf(filepath.Join(dir, m.Into), boot, rows)
	m.Already, m.Elsewhere = 0, 0
	for _, w := range rows {
		name, says := nameOf(&w), saysOf(w)
		switch {
		case p.named[name]:
			m.Already++
			continue
		case name.jig != "":
			p.named[name] = true
		case p.ours[says] > 0:
			p.ours[says]--
			m.Already++
			continue
		default:
			if p.others[says] {
				m.Elsewhere++
			}
			p.last++
			fillRow(&w, map[string]string{"jig": importJig, "boot": boot, "seq": strconv.FormatUint(p.last, 10)})
		}
		fresh = append(fresh, w)
	}
	return fresh, err
}

// saysOf is a digest of what a row says, whatever its name.
func saysOf[W any](w W) string {
	fillRow(&w, nameless)
	return digest(say(&w))
}

// cellOf returns the cell of a row by the name of its column.
func cellOf[W any](w *W, column string) string {
	v := reflect.ValueOf(w).Elem()
	for i := range v.NumField() {
		if v.Type().Field(i).Tag.Get("csv") == column {
			return v.Field(i).String()
		}
	}
	return ""
}
