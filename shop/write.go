package shop

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"evenpole/capture/record/disk"
)

// WriteFile writes a paper, a table or a picture, whole or not at all, and makes
// the folders above it that are missing. It takes the place of an earlier file of
// that name. See disk.WriteFile for errors.
func WriteFile(path string, write func(io.Writer) error) error {
	if err := disk.MakeDir(filepath.Dir(path)); err != nil {
		return err
	}
	return disk.WriteFile(path, write)
}

// text writes a text.
func text[T ~string | ~[]byte](s T) func(io.Writer) error {
	return func(to io.Writer) error {
		_, err := to.Write([]byte(s))
		return err
	}
}

// WriteText is WriteFile of a text.
func WriteText(path, s string) error { return WriteFile(path, text(s)) }

// appendRow adds a row to a CSV file and makes it last. A new file gets a header
// first; a row that a power cut tore gets its end.
func appendRow(path string, header, row []string) error {
	start, err := missingStart(path, header)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	b.Write(start)
	if err := csv.NewWriter(&b).WriteAll([][]string{row}); err != nil {
		return err
	}
	defer disk.Hold()()
	f, err := disk.OpenAppend(path)
	if err != nil {
		return err
	}
	_, err = f.Write(b.Bytes())
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return &disk.WriteError{Path: path, Err: err}
	}
	return disk.SyncDir(filepath.Dir(path))
}

// missingStart is what has to come before the next row of a CSV file.
func missingStart(path string, header []string) ([]byte, error) {
	before, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist), err == nil && len(before) == 0:
		var b bytes.Buffer
		err := csv.NewWriter(&b).WriteAll([][]string{header})
		return b.Bytes(), err
	case err != nil:
		return nil, err
	case !bytes.HasSuffix(before, []byte("\n")):
		return []byte("\n"), nil
	}
	return nil, nil
}
