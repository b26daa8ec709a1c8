package sheet

import (
	"io"
	"slices"
	"strings"

	"evenpole/capture/record/table"
	"evenpole/profiles"
)

// ListRow is a row of a list: a small CSV file that people write and keep beside the
// record.
type ListRow struct {
	file  string
	line  int
	cells map[string]string
}

// maxRows is the most rows that a list may have: far more than a person writes.
const maxRows = 50_000

// ReadList reads a list: a header row, its columns in any order, of which
// some are needed. A mistake is a [*RowError]; name stands for the file in it.
func ReadList(r io.Reader, name string, need ...string) ([]ListRow, error) {
	c, _ := table.NewCSV(r)
	head, _, err := table.Header(c, name)
	if err != nil {
		return nil, err
	}
	head = table.Trimmed(head)
	for _, n := range need {
		if !slices.Contains(head, n) {
			return nil, table.Errorf(name, 1, n, "expected in the header, got %q", strings.Join(head, ","))
		}
	}
	var out []ListRow
	for {
		row, err := c.Read()
		if err == io.EOF {
			return out, nil
		}
		if err != nil {
			return nil, table.Explain(err, name, len(head))
		}
		l := ListRow{file: name, cells: map[string]string{}}
		l.line, _ = c.FieldPos(0)
		if len(out) == maxRows {
			return nil, table.Errorf(name, l.line, "", "expected at most %d rows", maxRows)
		}
		for i, text := range row {
			text = table.Plain(text)
			if !profiles.IsName(text) {
				return nil, table.Errorf(name, l.line, head[i], "expected %s, got %q", profiles.WantName, text)
			}
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
	return table.Errorf(l.file, l.line, column, format, args...)
}
