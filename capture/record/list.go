package record

import (
	"fmt"
	"io"
	"slices"
	"strings"
)

// ListRow is a row of a list: a small CSV file that people write and keep beside the
// record.
type ListRow struct {
	file  string
	line  int
	cells map[string]string
}

// ReadList reads a list: a header row, its columns in any order, of which
// some are needed. A mistake is a [*RowError]; name stands for the file in it.
func ReadList(r io.Reader, name string, need ...string) ([]ListRow, error) {
	c, _ := newCSVReader(r)
	head, err := c.Read()
	if err == io.EOF {
		return nil, &RowError{File: name, Line: 1, Msg: "expected a header row, got an empty file"}
	}
	if err != nil {
		return nil, explain(err, name, 0)
	}
	head = trimmed(head)
	for _, n := range need {
		if !slices.Contains(head, n) {
			return nil, &RowError{File: name, Line: 1, Column: n, Msg: fmt.Sprintf("expected in the header, got %q", strings.Join(head, ","))}
		}
	}
	var out []ListRow
	for {
		row, err := c.Read()
		if err == io.EOF {
			return out, nil
		}
		if err != nil {
			return nil, explain(err, name, len(head))
		}
		l := ListRow{file: name, cells: map[string]string{}}
		l.line, _ = c.FieldPos(0)
		for i, text := range row {
			l.cells[head[i]] = strings.TrimSpace(text)
		}
		out = append(out, l)
	}
}

// Cell is the text in a column without spaces round it; "" where the file has no
// such column.
func (l *ListRow) Cell(column string) string { return l.cells[column] }

// Wrong says what is wrong in a column.
func (l *ListRow) Wrong(column, format string, args ...any) error {
	return &RowError{File: l.file, Line: l.line, Column: column, Msg: fmt.Sprintf(format, args...)}
}
