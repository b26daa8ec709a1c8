package table

import (
	"fmt"
	"io"
)

// The most that a row may have: far more than any that a person or a program writes,
// and little enough that a file that is no record is refused before it fills the memory.
const (
	MaxRow   = 256 << 10 // bytes
	maxCells = 1000
)

// A sizeError says that a row is too large; no more is read then.
type sizeError struct {
	line int // on which the row starts
	msg  string
}

func (e *sizeError) Error() string { return fmt.Sprintf("line %d: %s", e.line, e.msg) }

// bounds passes CSV on, and ends it with a *sizeError in a row that is too large. It
// goes over quoted cells as package csv does, but takes any of the separators that
// people use.
type bounds struct {
	r   io.Reader
	err *sizeError
	at  position

	line, start  int // the line at hand, and that on which the row starts, from 1
	bytes, cells int // of the row
}

// A position is where in a row a byte stands.
type position int

const (
	atCell     position = iota // before a cell, where a quote begins a quoted one
	unquoted                   // in a cell without quotes, or after the quotes of one
	quoted                     // within quotes
	afterQuote                 // after a quote within quotes: another one is a doubled one
)

func newBounds(r io.Reader) *bounds { return &bounds{r: r, line: 1, start: 1} }

func (b *bounds) Read(p []byte) (int, error) {
	if b.err != nil {
		return 0, io.EOF // it was told
	}
	n, err := b.r.Read(p)
	for i, c := range p[:n] {
		b.bytes++
		switch c {
		case '"', ',', ';', '\t', '\n':
			b.step(c)
		default:
			if b.at != quoted {
				b.at = unquoted
			}
		}
		if b.bytes > MaxRow || b.cells >= maxCells {
			b.err = &sizeError{b.start, fmt.Sprintf("expected a row of at most %d bytes and %d cells, got more", MaxRow, maxCells)}
			return i, b.err
		}
	}
	return n, err
}

// step goes over a byte that is more than text.
func (b *bounds) step(c byte) {
	if c == '\n' {
		b.line++
	}
	switch {
	case c == '"' && (b.at == atCell || b.at == afterQuote):
		b.at = quoted
	case c == '"' && b.at == quoted:
		b.at = afterQuote
	case c == '"' || b.at == quoted:
	case c == '\n':
		b.bytes, b.cells, b.start, b.at = 0, 0, b.line, atCell
	default:
		b.cells++
		b.at = atCell
	}
}

// shown is as much of a text as is shown in an error.
func shown(text string) string {
	const most = 200
	if len(text) <= most {
		return text
	}
	return text[:most] + "..."
}
