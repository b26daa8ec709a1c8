package share

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
)

// replica is what a shop has on its disk of one bench's streams. Those of its own bench
// are the files of the shop itself, which share only reads; those of another bench are
// copies in a folder of its own, laid out as a shop:
//
//	readings.csv, fields.csv, sessions.csv, readings.seals.csv, fields.seals.csv
//	readings.seals.until-0001.csv    seals that the bench set aside
//	documents.jsonl                  all versions of its documents
//	mounts/ calibrations/ orders/ strings.toml names.csv    the last of these
//
// How many rows a file has is how far its stream has come: nothing else is kept that could
// say otherwise after a crash.
type replica struct {
	bench string
	dir   string
	docs  string // the file of the ledger
}

// ageCell tells in the entry of a seal which file of seals it is from, where the bench set
// seals aside: 1 for the first. ageRows are the digits of a file's name.
const (
	ageCell = "file"
	ageName = ".until-%04d.csv"
)

// entries are those of a stream, as the files stand now.
func (r *replica) entries(s Stream) iter.Seq2[Entry, error] {
	return func(yield func(Entry, error) bool) {
		head := Start(r.bench, s)
		for cells, err := range r.cells(s) {
			var e Entry
			if err == nil {
				e = head.Entry(s, cells)
				head = Head{e.N, e.Chain}
			}
			if !yield(e, err) || err != nil {
				return
			}
		}
	}
}

// cells are those of the entries of a stream.
func (r *replica) cells(s Stream) iter.Seq2[string, error] {
	switch of, seals := s.seals(); {
	case s == Documents:
		return lines(r.docs)
	case seals:
		return r.sealCells(of, s.file())
	}
	return r.rowCells(s.file(), filepath.Join(r.dir, s.file()), "", s != Sessions)
}

// sealCells are those of all files of seals of a file of the record. Of its own record
// none are certain to be on the disk while a writer is at work, or was cut short.
func (r *replica) sealCells(of, file string) iter.Seq2[string, error] {
	return func(yield func(string, error) bool) {
		files, err := record.SealFiles(filepath.Join(r.dir, of))
		if errors.Is(err, fs.ErrNotExist) {
			return
		}
		if err != nil {
			yield("", err)
			return
		}
		for i, path := range files {
			age := ""
			if i > 0 {
				age = fmt.Sprint(i + 1)
			}
			for cells, err := range r.rowCells(file, path, age, false) {
				if !yield(cells, err) {
					return
				}
			}
		}
	}
}

// rowCells are those of the rows of a file. Where sealed is false the rows have no seals
// by which to tell whether they are on the disk.
func (r *replica) rowCells(file, path, age string, sealed bool) iter.Seq2[string, error] {
	return func(yield func(string, error) bool) {
		f, kept, err := record.OpenKept(path)
		if errors.Is(err, fs.ErrNotExist) {
			return
		}
		if err != nil {
			yield("", err)
			return
		}
		defer f.Close()
		if kept >= 0 && !sealed {
			kept = 0
		}
		if size, ok := f.(interface{ Size() int64 }); ok && size.Size() == 0 {
			return
		}
		form, n := newRowForm(file), 0
		for row, err := range record.Rows(f, file, path) {
			if n == kept {
				yield("", errHeld)
				return
			}
			text := ""
			if err == nil {
				if text, err = form.encode(row, age); err != nil {
					err = &InputError{fmt.Sprintf("%s: row %d: %v", path, n+1, err)}
				}
			}
			if !yield(text, err) || err != nil {
				return
			}
			n++
		}
		if kept >= 0 {
			yield("", errHeld)
		}
	}
}

// errHeld ends the entries of a stream of which there may be more that are not on the disk
// for certain.
var errHeld = errors.New("a writer is at work, or was cut short")

// mostRow is how long a row may be as an entry has it, bytes; the record's own files take
// twice as much.
const mostRow = 128 << 10

// rowForm is how the rows of a file are written as entries.
type rowForm struct {
	names []string // sorted, ageCell among them
	at    []int    // the cell of a row for each; -1 for ageCell
	b     []byte
}

func newRowForm(file string) *rowForm {
	columns := record.Columns(file)
	f := &rowForm{names: append(slices.Clone(columns), ageCell)}
	slices.Sort(f.names)
	for _, name := range f.names {
		f.at = append(f.at, slices.Index(columns, name))
	}
	return f
}

// encode writes a row as an entry has it, without spaces round its cells and with LF for
// line ends.
func (f *rowForm) encode(row []string, age string) (string, error) {
	f.b = append(f.b[:0], '{')
	for i, at := range f.at {
		text := age
		if at >= 0 {
			text = plain(row[at])
		}
		if err := f.add(f.names[i], text); err != nil {
			return "", err
		}
	}
	if f.b = append(f.b, '}'); len(f.b) > mostRow {
		return "", fmt.Errorf("expected at most %d bytes, got %d", mostRow, len(f.b))
	}
	return string(f.b), nil
}

func (f *rowForm) add(name, text string) (err error) {
	f.b, err = appendCell(f.b, name, text)
	return err
}

// plain is the text of a cell as it is shared: what a CSV file gives back of it.
func plain(text string) string {
	if strings.IndexByte(text, '\r') >= 0 {
		text = strings.ReplaceAll(strings.ReplaceAll(text, "\r\n", "\n"), "\r", "\n")
	}
	return strings.TrimSpace(text)
}

// append adds entries to a stream of another bench's, and returns once they are on the
// disk.
func (r *replica) append(s Stream, entries []Entry) error {
	if err := disk.MakeDir(r.dir); err != nil {
		return err
	}
	if s == Documents {
		l, err := openLedger(r.docs)
		if err != nil {
			return err
		}
		return l.copy(entries)
	}
	file := s.file()
	names, form := record.Columns(file), newRowForm(file)
	var rows [][]string
	age := ""
	flush := func() error {
		if len(rows) == 0 {
			return nil
		}
		err := appendRows(file, filepath.Join(r.dir, file), names, rows)
		rows = nil
		return err
	}
	for _, e := range entries {
		row, its, err := rowOf(s, names, form, e)
		if err != nil {
			return err
		}
		if its != age {
			if err := flush(); err != nil {
				return err
			}
			if age = its; age != "" {
				if err := r.setAside(file, age); err != nil {
					return err
				}
			}
		}
		rows = append(rows, row)
	}
	return flush()
}

// rowOf turns an entry into a row of a file, if the record can hold it. age is which file
// of seals it is of.
func rowOf(s Stream, names []string, form *rowForm, e Entry) (row []string, age string, err error) {
	bad := func(err error) error {
		return &BadError{fmt.Sprintf("%s %d: %v", s, e.N, err)}
	}
	cells, err := decodeAny(e.Cells)
	if err != nil {
		return nil, "", bad(err)
	}
	row = make([]string, len(names))
	known := 0
	for i, name := range names {
		if text, ok := cells[name]; ok {
			row[i] = text
			known++
		}
	}
	if _, seals := s.seals(); seals {
		if text, ok := cells[ageCell]; ok {
			age = text
			known++
		}
	}
	if known < len(cells) {
		return nil, "", bad(errors.New("it has a column that this program does not know: use a newer one"))
	}
	if again, err := form.encode(row, age); err != nil || again != e.Cells {
		return nil, "", bad(errors.New("it is not written as entries are, or a cell has spaces round it"))
	}
	if err := record.CheckRow(s.file(), row); err != nil {
		return nil, "", bad(err)
	}
	return row, age, nil
}

// setAside gives the seals that a copy has so far the name of those that the bench set
// aside before its file of seals number age, unless that was done.
func (r *replica) setAside(file, age string) error {
	n := 0
	if _, err := fmt.Sscanf(age, "%d", &n); err != nil || n < 2 || n > 9999 || age != fmt.Sprint(n) {
		return &BadError{fmt.Sprintf("expected the number of a file of seals from 2, got %.20q", age)}
	}
	path := filepath.Join(r.dir, file)
	aside := path[:len(path)-len(".csv")] + fmt.Sprintf(ageName, n-1)
	if _, err := os.Lstat(aside); err == nil {
		return nil
	}
	if err := os.Rename(path, aside); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return disk.SyncDir(r.dir)
}

// copy adds entries of another bench's documents as they are.
func (l *ledger) copy(entries []Entry) error {
	var b bytes.Buffer
	for _, e := range entries {
		if err := l.take(e); err != nil {
			return err
		}
		b.WriteString(e.Cells + "\n")
	}
	return disk.Append(l.file, b.Bytes())
}

// take notes what an entry says, and refuses one that is no version of a document.
func (l *ledger) take(e Entry) error {
	cells, err := decode(e.Cells)
	if err != nil {
		return &BadError{fmt.Sprintf("%s %d: %v", Documents, e.N, err)}
	}
	p, text := cells[pathCell], cells[textCell]
	if !isDocument(p) && (p != identityPath || l.n > 0) || len(text) > mostDocument || len(cells) > 2 {
		return &BadError{fmt.Sprintf("%s %d: %.60q is no document", Documents, e.N, p)}
	}
	l.last[p] = text
	l.n++
	return nil
}

// appendRows adds rows to a CSV file and makes them last. A new file gets a header first;
// a copy that an earlier program began, which knew fewer columns, is written anew with all.
func appendRows(file, path string, names []string, rows [][]string) error {
	var b bytes.Buffer
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist) || err == nil && info.Size() == 0:
		rows = append([][]string{names}, rows...)
	case err != nil:
		return err
	default:
		if err := widen(file, path, names); err != nil {
			return err
		}
	}
	if err := table.WriteLines(&b, false, rows...); err != nil {
		return err
	}
	return disk.Append(path, b.Bytes())
}

// widen writes a copy anew whose header is not that of names.
func widen(file, path string, names []string) error {
	f, err := disk.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	first, err := table.NewLines(f).Next()
	if err != nil || strings.TrimRight(string(first), "\r\n") == strings.Join(names, ",") {
		return err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return err
	}
	return disk.WriteFile(path, func(to io.Writer) error {
		w := table.NewWriter(to, false)
		if err := w.Write(names); err != nil {
			return err
		}
		for row, err := range record.Rows(f, file, path) {
			if err == nil {
				err = w.Write(row)
			}
			if err != nil {
				return err
			}
		}
		return w.Flush()
	})
}

// mend cuts off what a crash left of a last row in the copies of another bench's files.
func (r *replica) mend() error {
	if err := cutUnended(r.docs); err != nil {
		return err
	}
	for _, s := range Streams() {
		if s == Documents {
			continue
		}
		if err := cutTorn(filepath.Join(r.dir, s.file())); err != nil {
			return err
		}
	}
	return nil
}

// head is how far a stream has come.
func (r *replica) head(s Stream) (Head, error) {
	head := Start(r.bench, s)
	for e, err := range r.entries(s) {
		if errors.Is(err, errHeld) {
			break
		}
		if err != nil {
			return head, err
		}
		head = Head{e.N, e.Chain}
	}
	return head, nil
}

// restore writes the last versions of another bench's documents into its folder.
func (r *replica) restore() error {
	l, err := openLedger(r.docs)
	if err != nil {
		return err
	}
	return l.restore(r.dir)
}
