package record

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"evenpole/capture/record/disk"
)

// A ledger is a CSV file that only grows. Rows of type W are written in the
// file's own order of columns; a file that does not exist is created with the
// first row.
type ledger[W any] struct {
	path    string
	columns []string      // as the file has them; nil until there is a file
	lf      bool          // lines end in LF alone, not in CR LF
	file    disk.Appender // nil until the first row
	err     error         // why there can be no more rows

	create func(path string) (disk.Appender, error)
	seals  sealer
}

// openLedger looks at the file, if there is one, and refuses it when it lacks a
// column that a row needs. Nothing is written.
func openLedger[W any](path string, optional ...string) (*ledger[W], error) {
	l := &ledger[W]{path: path, create: disk.OpenAppend}
	f, err := os.Open(path)
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
	t, err := openTable[W](head, path, neededBy[W](optional))
	if err != nil {
		return nil, err
	}
	l.columns = trimmed(t.rows.Headers)
	return l, nil
}

// neededBy lists the columns that a file needs for rows of a type.
func neededBy[W any](optional []string) []string {
	return slices.DeleteFunc(columnsOf[W](), func(name string) bool { return slices.Contains(optional, name) })
}

func trimmed(headers []string) []string {
	names := make([]string, len(headers))
	for i, h := range headers {
		names[i] = strings.TrimSpace(h)
	}
	return names
}

// append writes rows. When it returns nil they are on the disk, and so is the
// name of the file. After an error the end of the file is not known, and there
// are no more rows.
func (l *ledger[W]) append(rows ...W) error {
	if l.err == nil && len(rows) > 0 {
		l.err = l.write(rows)
	}
	return l.err
}

func (l *ledger[W]) write(rows []W) error {
	if l.file == nil {
		if err := l.open(); err != nil {
			return err
		}
	}
	lines, said := make([][]string, len(rows)), make([][]byte, len(rows))
	for i := range rows {
		var err error
		if lines[i], err = l.line(rows[i]); err != nil {
			return err
		}
		said[i] = say(&rows[i])
	}
	if err := l.put(lines...); err != nil {
		return err
	}
	if err := l.seals.add(said...); err != nil {
		return &disk.WriteError{Path: l.seals.path, Err: err}
	}
	return nil
}

// line lays a row out as the file's columns go.
func (l *ledger[W]) line(w W) ([]string, error) {
	names, values := record(w)
	cells := make([]string, len(l.columns))
	for i, name := range names {
		at := slices.Index(l.columns, name)
		switch {
		case at >= 0:
			cells[at] = values[i]
		case values[i] != "" && values[i] != string(OK): // ok is what an absent status means
			return nil, fmt.Errorf("%s: the file has no column %q, and a row has %q to write there", l.path, name, values[i])
		}
	}
	return cells, nil
}

// takes tells whether the file has columns for all that rows have to say.
func (l *ledger[W]) takes(rows []W) error {
	for _, w := range rows {
		if _, err := l.line(w); err != nil && l.columns != nil {
			return err
		}
	}
	return nil
}

// open opens the file for appending, after its seals. A new one gets its header.
// Its name is made as lasting as its rows will be, whoever made it: that process
// may have been killed before.
func (l *ledger[W]) open() error {
	if err := l.seals.begin(); err != nil {
		return &disk.WriteError{Path: l.seals.path, Err: err}
	}
	f, err := l.create(l.path)
	if err != nil {
		return err
	}
	l.file = f
	if l.columns == nil {
		l.columns = columnsOf[W]()
		if err := l.put(l.columns); err != nil {
			return err
		}
	}
	return disk.SyncDir(filepath.Dir(l.path))
}

// put writes lines and waits until they are on the disk.
func (l *ledger[W]) put(lines ...[]string) error {
	if err := putLines(l.file, l.lf, lines); err != nil {
		return &disk.WriteError{Path: l.path, Err: err}
	}
	if err := l.file.Sync(); err != nil {
		return &disk.WriteError{Path: l.path, Err: err}
	}
	return nil
}

func (l *ledger[W]) close() error {
	var err error
	if l.file != nil {
		if err = l.file.Close(); err != nil {
			err = &disk.WriteError{Path: l.path, Err: err}
		}
	}
	return errors.Join(err, l.seals.close())
}
