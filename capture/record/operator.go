package record

import (
	"errors"
	"io"
	"slices"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
)

// operatorColumn is a column that the sessions.csv of older shops lacks.
const operatorColumn = "operator"

// Operators names who captured each session, as far as its holds tell; of several the
// last one.
func (all Holds) Operators() map[string]string {
	who := map[string]string{}
	for _, h := range all {
		if h.Session != "" && h.Operator != "" {
			who[h.Session] = h.Operator
		}
	}
	return who
}

// LastOperator is who captured last, "" where that capture names nobody.
func (all Holds) LastOperator() string {
	for _, h := range slices.Backward(all) {
		if h.Session != "" && h.Jig != "" {
			return h.Operator
		}
	}
	return ""
}

// addOperatorColumn adds the column to a sessions.csv that lacks it. Its rows, which have
// no seals, stay as they are, with an empty cell more.
func (s *Writer) addOperatorColumn() error {
	l := s.sessions
	if l.columns == nil || slices.Contains(l.columns, operatorColumn) {
		return nil
	}
	if err := l.close(); err != nil {
		return err
	}
	l.file = nil
	lines, err := allLines(l.path)
	if err != nil {
		return err
	}
	for i := range lines {
		lines[i] = append(lines[i], "")
	}
	lines[0][len(lines[0])-1] = operatorColumn
	err = disk.WriteFile(l.path, func(to io.Writer) error { return table.WriteLines(to, l.lf, lines...) })
	if err != nil {
		return err
	}
	l.have(lines[0])
	return nil
}

// allLines reads a small CSV file, header and all.
func allLines(path string) (lines [][]string, err error) {
	f, err := disk.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows, _ := table.NewCSV(f)
	for {
		cells, err := rows.Read()
		if errors.Is(err, io.EOF) {
			return lines, nil
		}
		if err != nil {
			return nil, table.Explain(err, path, 0)
		}
		line := make([]string, len(cells))
		for i, text := range cells {
			line[i] = table.Plain(text)
		}
		lines = append(lines, line)
	}
}
