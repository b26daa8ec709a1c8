package sheet

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"unicode/utf8"

	"evenpole/capture/record/table"
)

// Check reads a file to its end, and refuses what is no text, text in another encoding
// than UTF-8, and a line that is longer than a row may be. What is wrong is a
// *table.RowError; name stands for the file in it.
func Check(r io.Reader, name string) error {
	b := bufio.NewReaderSize(r, table.MaxRow+1)
	start, _ := b.Peek(4) // an error comes again with the lines
	is := ""
	switch {
	case bytes.Equal(start, []byte("PK\x03\x04")), bytes.Equal(start, []byte("\xd0\xcf\x11\xe0")):
		is = "a spreadsheet program's own format"
	case bytes.HasPrefix(start, []byte("\xff\xfe")), bytes.HasPrefix(start, []byte("\xfe\xff")):
		is = "UTF-16"
	}
	if is != "" {
		return table.Errorf(name, 1, "", "expected CSV in UTF-8, got %s: save it as CSV (UTF-8)", is)
	}
	for n := 1; ; n++ {
		line, err := b.ReadSlice('\n')
		switch {
		case errors.Is(err, bufio.ErrBufferFull):
			return table.Errorf(name, n, "", "expected a line of at most %d bytes, got more", table.MaxRow)
		case err != nil && err != io.EOF:
			return err
		case !utf8.Valid(line) || bytes.IndexByte(line, 0) >= 0:
			line = bytes.TrimSuffix(line, []byte("\n"))
			return table.Errorf(name, n, "", "expected text in UTF-8, got %q: save it as CSV (UTF-8)", line[:min(len(line), 40)])
		case err == io.EOF:
			return nil
		}
	}
}
