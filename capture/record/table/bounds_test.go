package table

import (
	"errors"
	"io"
	"strings"
	"testing"
)

// endless repeats a text for ever, and counts how often.
type endless struct {
	text string
	n    int
}

func (e *endless) Read(p []byte) (int, error) {
	n := copy(p, e.text)
	e.n += n
	return n, nil
}

type one struct{ a string }

var ones = New(Text("a", func(x *one) *string { return &x.a }))

// What is no record is refused with its place, and little of it is read.
func TestRowsWithoutEnd(t *testing.T) {
	for _, text := range []string{"x", ",", "\"\"", ";", "\x00", "x\n,"} {
		for line, head := range map[int]string{1: "", 3: "a\nb\n"} {
			e := &endless{text: text}
			var err error
			rows := 0
			for _, err = range Read(io.MultiReader(strings.NewReader(head+"\""), e), "f.csv", ones, nil) {
				rows++
			}
			var row *RowError
			if !errors.As(err, &row) || row.Line != line || row.File != "f.csv" || rows > 3 {
				t.Errorf("%q after %q: %d rows, %v", text, head, rows, err)
			}
			if e.n > 2*MaxRow || len(err.Error()) > 1000 {
				t.Errorf("%q after %q: %d bytes read, %d said", text, head, e.n, len(err.Error()))
			}
		}
	}
}

func TestMostCells(t *testing.T) {
	for commas, good := range map[int]bool{maxCells - 1: true, maxCells: false} {
		text := "a" + strings.Repeat(",", commas) + "\n"
		_, err := Open(strings.NewReader(text), "f.csv", ones.Layout, nil)
		if (err == nil) != good {
			t.Errorf("%d commas: %v", commas, err)
		}
	}
	// Commas in quotes are text, and rows are counted one by one.
	file := strings.Repeat("\""+strings.Repeat(",\"\"\n", maxCells)+"\"\n", 100)
	n := 0
	for x, err := range Read(strings.NewReader("a\n"+file), "f.csv", ones, nil) {
		if n++; err != nil || len(x.a) != 3*maxCells {
			t.Fatal(err)
		}
	}
	if n != 100 {
		t.Errorf("%d rows", n)
	}
}
