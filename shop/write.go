package shop

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
	"evenpole/fit"
)

// WriteFile writes a paper, a table or a picture where the user wants it, whole or not
// at all, and makes the folders above it that are missing. A file that is there stays
// and is an error, ErrThere, unless it says the same already; force has it replaced.
// What belongs to a shop is refused even then, ErrOwned, by whatever path, and so are
// descriptions and models that lie elsewhere, ErrWork, and what is no plain file, with a
// *disk.KindError. See disk.WriteFile for other errors.
func (s *Shop) WriteFile(path string, force bool, write func(io.Writer) error) error {
	if _, owned := s.ownerOf(path); !owned && isWork(path) {
		return bad("%s %w", path, ErrWork)
	}
	return s.writeFile(path, force, write)
}

// isWork reports whether a file is there that says what somebody described, or a model.
func isWork(path string) bool {
	if strings.EqualFold(filepath.Ext(path), ".toml") {
		return !Missing(path)
	}
	return fit.IsModel(path)
}

// writeFile is WriteFile for whatever stands outside of shops.
func (s *Shop) writeFile(path string, force bool, write func(io.Writer) error) error {
	if owner, ok := s.ownerOf(path); ok {
		return bad("%s: %w %s", path, ErrOwned, owner)
	}
	switch info, err := os.Stat(path); {
	case err == nil && info.IsDir():
		return &disk.FolderError{Path: path}
	case err == nil && !info.Mode().IsRegular(): // a device that is replaced is gone for every program
		return &disk.KindError{Path: path, Mode: info.Mode()}
	}
	if err := disk.MakeDir(filepath.Dir(path)); err != nil {
		return err
	}
	if force {
		return disk.WriteFile(path, write)
	}
	if same, err := says(path, write); same || err != nil {
		return err
	}
	if err := disk.CreateFile(path, write); !errors.Is(err, fs.ErrExist) {
		return err
	}
	return bad("%s %w", path, ErrThere)
}

// WriteDescription writes a new order or mount where the user wants it: in the shop's
// folders for these, where one that is there is never replaced (ErrThere), or anywhere
// else, as WriteFile does.
func (s *Shop) WriteDescription(path string, force bool, write func(io.Writer) error) error {
	owner, ok := s.ownerOf(path)
	if !ok || !owner.describes(path) {
		return s.writeFile(path, force, write)
	}
	if err := disk.MakeDir(filepath.Dir(path)); err != nil {
		return err
	}
	if err := disk.CreateFile(path, write); !errors.Is(err, fs.ErrExist) {
		return err
	}
	return bad("%s %w", path, ErrKept)
}

// says reports whether a file is there that says what write writes.
func says(path string, write func(io.Writer) error) (same bool, err error) {
	if info, err := os.Lstat(path); err != nil || !info.Mode().IsRegular() {
		return false, nil
	}
	f, err := disk.Open(path)
	if err != nil {
		return false, nil
	}
	defer f.Close()
	c := &comparison{file: bufio.NewReader(f)}
	err = write(c)
	if c.differs {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	_, end := c.file.ReadByte()
	return end == io.EOF, nil
}

// comparison is written to, and compares that with a file.
type comparison struct {
	file    *bufio.Reader
	differs bool
}

var errDiffers = errors.New("the file says something else")

func (c *comparison) Write(text []byte) (int, error) {
	there := make([]byte, len(text))
	if _, err := io.ReadFull(c.file, there); err != nil || c.differs || !bytes.Equal(there, text) {
		c.differs = true
		return 0, errDiffers
	}
	return len(text), nil
}

// text writes a text.
func text[T ~string | ~[]byte](s T) func(io.Writer) error {
	return func(to io.Writer) error {
		_, err := to.Write([]byte(s))
		return err
	}
}

// Describe writes what a shop describes, an order or a mount, into a new file.
func Describe(path, s string) error {
	if err := disk.MakeDir(filepath.Dir(path)); err != nil {
		return err
	}
	return disk.CreateFile(path, text(s))
}

// appendRow adds a row to a CSV file and makes it last. A new file gets a header
// first; a row that a power cut tore gets its end.
func appendRow(path string, header, row []string) error {
	start, err := missingStart(path, header)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	b.Write(start)
	if err := table.WriteLines(&b, true, row); err != nil {
		return err
	}
	return disk.Append(path, b.Bytes())
}

// missingStart is what has to come before the next row of a CSV file.
func missingStart(path string, header []string) ([]byte, error) {
	before, err := disk.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist), err == nil && len(before) == 0:
		var b bytes.Buffer
		err := table.WriteLines(&b, true, header)
		return b.Bytes(), err
	case err != nil:
		return nil, err
	case !bytes.HasSuffix(before, []byte("\n")):
		return []byte("\n"), nil
	}
	return nil, nil
}
