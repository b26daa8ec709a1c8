package table

import (
	"bytes"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
)

// copied copies all rows of a CSV file.
func copied(text string) (string, error) {
	var out bytes.Buffer
	w := NewWriter(&out, false)
	lines := NewLines(strings.NewReader(text))
	for {
		row, err := lines.Next()
		if err == io.EOF {
			return out.String(), w.Flush()
		}
		if err == nil {
			err = w.Copy(row)
		}
		if err != nil {
			return "", err
		}
	}
}

// rewritten is the same by reading every cell and writing it.
func rewritten(text string) (string, error) {
	var out bytes.Buffer
	w := NewWriter(&out, false)
	cells, _ := NewCSV(strings.NewReader(text))
	cells.FieldsPerRecord = -1
	for {
		row, err := cells.Read()
		if err == io.EOF {
			return out.String(), w.Flush()
		}
		if err != nil {
			return "", err
		}
		for i := range row {
			row[i] = Plain(row[i])
		}
		if err := w.Write(row); err != nil {
			return "", err
		}
	}
}

// Rows that are copied are what reading all cells and writing them gives.
func TestCopyIsReadingAndWriting(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	cells := []string{"", "a", "1.5", "-1.5", "=1+1", "'=1+1", "'x", `"a,b"`, `"say ""a"""`, "\"two\r\nlines\"", "\"two\nlines\"", "\"\r\n\r\n\"", " a", "a ", "é", `\.`, "+x", "@x", "a\rb",
		"\"\"", "2026-01-02T03:04:05Z", "#", "\"=1\"", strings.Repeat("long", 50)}
	for n := range 2000 {
		var text strings.Builder
		if n%5 == 0 {
			text.WriteString("\xef\xbb\xbf")
		}
		for range 1 + rng.IntN(6) {
			for i := range 3 {
				if i > 0 {
					text.WriteByte(',')
				}
				text.WriteString(cells[rng.IntN(len(cells))])
			}
			text.WriteString([]string{"\n", "\r\n", "\r\n\r\n", "\n\n\n"}[rng.IntN(4)])
		}
		file := text.String()
		if n%3 == 0 {
			file = strings.TrimRight(file, "\r\n")
		}
		want, err := rewritten(file)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := copied(file); err != nil || got != want {
			t.Fatalf("%q: got %q, %v, want %q", file, got, err, want)
		}
	}
}

// Rows that are longer than what is read at once are whole.
func TestLinesOfLongRows(t *testing.T) {
	long := strings.Repeat("x", 3*blockSize)
	file := "a,b\n" + long + ",\"" + long + "\n" + long + "\"\nc,d"
	lines := NewLines(strings.NewReader(file))
	for _, want := range []string{"a,b\n", long + ",\"" + long + "\n" + long + "\"\n", "c,d"} {
		if row, err := lines.Next(); err != nil || string(row) != want {
			t.Fatalf("got a row of %d bytes, %v, want %d", len(row), err, len(want))
		}
	}
	if _, err := lines.Next(); err != io.EOF {
		t.Error(err)
	}
}
