// Package table turns values of Go into rows of a CSV file and back, by a list of
// the file's columns: it has the name of each, how its cell is written, and how it
// is read.
//
// The way of a row, file by file: csv.go opens CSV as people and programs save it,
// up to a largest size (bounds.go), and a [RowError] (rowerror.go) says what is wrong
// and where; formula.go keeps a spreadsheet from taking a cell for a formula; torn.go finds
// a last line that a power cut tore; copy.go takes rows over as they stand. A [Cell] (cell.go) is read
// into a value by its [Column] (column.go, with a function for each kind). A
// [Table] (table.go) is the list of a file's columns, and its [Layout] what is known
// of them without the type of the values. A [Reader] (reader.go) reads a file into
// rows of text in the order of a layout, and [Read] (read.go) reads it into values: a
// file of one block row by row, a longer one cut into blocks (blocks.go), which all
// cores read (parallel.go), most rows and cells in a quick way (quick.go, quickcell.go). [Each] (each.go) gives
// values and text in one reading.
//
// It knows nothing of pickups and shops, and writes no file.
package table

import "fmt"

// RowError is a mistake in a CSV file, with its place.
type RowError struct {
	File   string `json:"file"`
	Line   int    `json:"line"`    // as an editor counts: the header is line 1 unless blank lines come before it
	Column string `json:"column"`  // names of columns, joined by ", "; "" for a mistake that is not one column's
	Msg    string `json:"message"` // what was expected and what was found
}

// Error returns "file:line: column: message".
func (e *RowError) Error() string {
	if e.Column == "" {
		return fmt.Sprintf("%s:%d: %s", e.File, e.Line, e.Msg)
	}
	return fmt.Sprintf("%s:%d: %s: %s", e.File, e.Line, e.Column, e.Msg)
}

// Errorf is the error at a place of a file.
func Errorf(file string, line int, column, format string, args ...any) *RowError {
	return &RowError{file, line, column, fmt.Sprintf(format, args...)}
}
