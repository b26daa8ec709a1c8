package record

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evenpole/capture/record/table"
)

// A readings file that is no record is refused by whatever reads it, with its place and
// after little of it was read.
func TestAReadingsFileWithoutRows(t *testing.T) {
	for name, text := range map[string]string{"no line end": "\x00", "commas": ","} {
		for _, left := range []bool{false, true} { // after a crash, too
			dir := t.TempDir()
			path := filepath.Join(dir, ReadingsFile)
			if err := os.WriteFile(path, []byte(strings.Repeat(text, 3*table.MaxRow)), 0o644); err != nil {
				t.Fatal(err)
			}
			if left {
				leaveLock(t, dir)
			}
			for what, read := range map[string]func() error{
				"verify": func() error { _, err := Verify(context.Background(), dir, func(Finding) {}); return err },
				"export": func() error {
					_, err := Export(context.Background(), io.Discard, dir, ReadingsFile, Filter{})
					return err
				},
				"write": func() error { _, err := OpenWriter(dir); return err },
			} {
				var row *RowError
				if err := read(); !errors.As(err, &row) || row.File != path || row.Line != 1 || !strings.Contains(row.Msg, "expected a row of at most") {
					t.Errorf("%s, %s: %v", name, what, err)
				}
			}
		}
	}
}
