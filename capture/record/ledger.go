package record

import (
	"bufio"
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
)

// A ledger is a CSV file that only grows. Rows are written in the
// file's own order of columns; a file that does not exist is created with the first
// row.
type ledger struct {
	path    string
	layout  *table.Layout
	columns []string      // as the file has them; nil until there is a file
	to      []int         // where the file has each column of the layout, -1 for nowhere
	lf      bool          // lines end in LF alone, not in CR LF
	file    disk.Appender // nil until the first row
	err     error         // why no more rows can be written

	create func(path string) (disk.Appender, error)
	check  func() error // looks whether the lock still keeps others out; nil for nothing
	mark   func() error // notes that rows are being written, before the first one; nil for nothing
	seals  sealer       // of sessions.csv one that seals nothing
}

// openLedger looks at the file, if there is one, and refuses it when it lacks a
// column that a row needs. Nothing is written.
func openLedger(path string, columns *table.Layout, optional ...string) (*ledger, error) {
	l := &ledger{path: path, layout: columns, create: disk.OpenAppend}
	f, err := disk.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return l, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	head := bufio.NewReader(f)
	start, err := head.Peek(head.Size())
	if len(start) == 0 && err == io.EOF {
		return l, nil
	}
	l.lf = !bytes.Contains(start, []byte("\r\n"))
	t, err := table.Open(head, path, columns, without(columns.Names, optional))
	if err != nil {
		return nil, err
	}
	l.have(t.Header)
	return l, nil
}

// without leaves out of a list of names those of another one.
func without(names, others []string) []string {
	return slices.DeleteFunc(slices.Clone(names), func(name string) bool { return slices.Contains(others, name) })
}

// have notes which columns the file has.
func (l *ledger) have(columns []string) {
	l.columns, l.to = columns, make([]int, len(l.layout.Names))
	for i, name := range l.layout.Names {
		l.to[i] = slices.Index(columns, name)
	}
}

// append writes rows. When it returns nil they are on the disk, and so is the
// name of the file. After an error nobody knows how the file ends, and no more rows
// are written.
func (l *ledger) append(rows ...table.Row) error {
	if l.err == nil && len(rows) > 0 {
		l.err = l.write(rows)
	}
	return l.err
}

func (l *ledger) write(rows []table.Row) error {
	if l.file == nil {
		if err := l.open(); err != nil {
			return err
		}
	}
	lines, digests := make([][]string, len(rows)), make([]string, len(rows))
	for i := range rows {
		var err error
		if lines[i], err = l.line(rows[i]); err != nil {
			return err
		}
		digests[i] = rowDigest(l.layout, rows[i])
	}
	if err := l.put(lines...); err != nil {
		return err
	}
	if err := l.seals.add(digests); err != nil {
		return &disk.WriteError{Path: l.seals.path, Err: err}
	}
	return nil
}

// A ColumnError says that a file of the record, made before there were certain columns, has
// no place for what a row has to say. Nothing of the row was written.
type ColumnError struct {
	Path    string
	Columns []string // all that the row needs and the file lacks
	Text    string   // what the row has for the first one
}

// Error names the file and the columns.
func (e *ColumnError) Error() string {
	var more strings.Builder
	for _, name := range e.Columns[1:] {
		fmt.Fprintf(&more, ", nor %q", name)
	}
	return fmt.Sprintf("%s: the file has no column %q%s, and a row has %q to write there", e.Path, e.Columns[0], &more, e.Text)
}

// line returns a row in the file's own order of columns.
func (l *ledger) line(row table.Row) ([]string, error) {
	cells, lacks := make([]string, len(l.columns)), ColumnError{Path: l.path}
	for i, text := range row {
		switch to := l.to[i]; {
		case to >= 0:
			cells[to] = text
		case text != "" && text != string(OK): // ok is what an absent status means
			lacks.Columns, lacks.Text = append(lacks.Columns, l.layout.Names[i]), cmp.Or(lacks.Text, text)
		}
	}
	if lacks.Columns != nil {
		return nil, &lacks
	}
	return cells, nil
}

// accepts tells whether the file has columns for all that rows have to say, with a
// *ColumnError where it has not.
func (l *ledger) accepts(rows []table.Row) error {
	if l.columns == nil {
		return nil
	}
	for _, row := range rows {
		if _, err := l.line(row); err != nil {
			return err
		}
	}
	return nil
}

// open opens the file for appending, after its seals. A new file gets its header. The
// name of the file is synced, too, even where another process made the file: that one
// may have been killed before it could.
func (l *ledger) open() error {
	if l.mark != nil {
		if err := l.mark(); err != nil {
			return err
		}
	}
	if err := l.seals.begin(); err != nil {
		return &disk.WriteError{Path: l.seals.path, Err: err}
	}
	f, err := l.create(l.path)
	if err != nil {
		return err
	}
	l.file = f
	if l.columns == nil {
		l.have(l.layout.Names)
		if err := l.put(l.columns); err != nil {
			return err
		}
	}
	return disk.SyncDir(filepath.Dir(l.path))
}

// put writes lines and waits until they are on the disk.
func (l *ledger) put(lines ...[]string) error {
	if err := table.WriteLines(l.file, l.lf, lines...); err != nil {
		return &disk.WriteError{Path: l.path, Err: err}
	}
	if err := l.file.Sync(); err != nil {
		return &disk.WriteError{Path: l.path, Err: err}
	}
	if l.check != nil {
		return l.check()
	}
	return nil
}

// close closes the file once it is sure that what was called kept is still there.
func (l *ledger) close() error {
	var err error
	if l.file != nil {
		if l.err == nil {
			err = l.file.Sync()
		}
		if err = errors.Join(err, l.file.Close()); err != nil {
			err = &disk.WriteError{Path: l.path, Err: err}
		}
	}
	return errors.Join(err, l.seals.close())
}
