package record

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
