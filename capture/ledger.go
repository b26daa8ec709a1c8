package capture

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
)

// A ledger is a CSV file that only grows. Rows of type W are written in the
// file's own order of columns; a file that does not exist is created with the
// first row.
type ledger[W any] struct {
	path    string
	columns []string // as the file has them; nil until there is a file
	lf      bool     // lines end in LF alone, not in CR LF
	file    appender // nil until the first row
	err     error    // why there can be no more rows
}

// An appender is what a ledger needs of a file.
type appender interface {
	io.WriteCloser
	Sync() error
}

// openLedger looks at the file, if there is one, and refuses it when it lacks a
// column that a row needs. Nothing is written.
func openLedger[W any](path string, optional ...string) (*ledger[W], error) {
	l := &ledger[W]{path: path}
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
	need := slices.DeleteFunc(columnsOf[W](), func(name string) bool { return slices.Contains(optional, name) })
	t, err := openTable[W](head, path, need)
	if err != nil {
		return nil, err
	}
	l.columns = trimmed(t.rows.Headers)
	return l, nil
}

func trimmed(headers []string) []string {
	names := make([]string, len(headers))
	for i, h := range headers {
		names[i] = strings.TrimSpace(h)
	}
	return names
}

// append writes a row. When it returns nil the row is on the disk, and so is
// the name of the file. After an error the end of the file is not known, and
// there are no more rows.
func (l *ledger[W]) append(w W) error {
	if l.err == nil {
		l.err = l.write(w)
	}
	return l.err
}

func (l *ledger[W]) write(w W) error {
	names, values := record(w)
	if l.file == nil {
		if err := l.open(names); err != nil {
			return err
		}
	}
	cells := make([]string, len(l.columns))
	for i, name := range names {
		at := slices.Index(l.columns, name)
		switch {
		case at >= 0:
			cells[at] = values[i]
		case values[i] != "" && values[i] != string(OK): // ok is what an absent status means
			return fmt.Errorf("%s: the file has no column %q, and a row has %q to write there", l.path, name, values[i])
		}
	}
	return l.put(cells)
}

// open opens the file for appending. A new one gets its header, and its name is
// made as lasting as its rows will be.
func (l *ledger[W]) open(names []string) error {
	f, err := os.OpenFile(l.path, os.O_WRONLY|os.O_APPEND|os.O_CREATE, 0o644)
	if err != nil {
		return err
	}
	l.file = f
	if l.columns != nil {
		return nil
	}
	l.columns = names
	if err := l.put(names); err != nil {
		return err
	}
	return syncDir(filepath.Dir(l.path))
}

// put writes one line and waits until it is on the disk.
func (l *ledger[W]) put(cells []string) error {
	var line bytes.Buffer
	w := csv.NewWriter(&line)
	w.UseCRLF = !l.lf // as RFC 4180 has it
	if err := w.Write(cells); err != nil {
		return err
	}
	w.Flush()
	if _, err := l.file.Write(line.Bytes()); err != nil {
		return fmt.Errorf("%s: %w", l.path, err)
	}
	if err := l.file.Sync(); err != nil {
		return fmt.Errorf("%s: %w", l.path, err)
	}
	return nil
}

func (l *ledger[W]) close() error {
	if l.file == nil {
		return nil
	}
	return l.file.Close()
}

// makeDir makes a folder and those above it, each of which lasts.
func makeDir(dir string) error {
	err := os.Mkdir(dir, 0o755)
	parent := filepath.Dir(dir)
	if errors.Is(err, fs.ErrNotExist) && parent != dir {
		if err := makeDir(parent); err != nil {
			return err
		}
		err = os.Mkdir(dir, 0o755)
	}
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return syncDir(parent)
}

// syncDir makes the names in a folder last. Windows has no call for that.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

// createFile writes a file that lasts. It has its name only once it is whole.
func createFile(path string, text []byte) error {
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, ".new-*")
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	err = errors.Join(err, f.Chmod(0o644), f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		os.Remove(f.Name())
		return err
	}
	return syncDir(dir)
}
