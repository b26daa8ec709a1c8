package record

import (
	"bytes"
	"io"
)

// fileEnd is the end of a file of rows, from a row on, read without the rows before it.
type fileEnd struct {
	io.Reader     // the header, and the rows from there on
	before    int // rows
}

// The pieces of a file that are gone over at once, and the longest line in them, bytes: no
// row may be as long as a piece, and what is near its limit is left for who reads it.
const (
	pieceSize   = 1 << 20
	longestLine = 4096
)

// endOf finds the end of a file that begins with a row not after one of a number, from 1,
// and not after some place. It does so without reading the rows before it, each of which
// has to be a line for that; where it finds one that is not, the end begins there or
// earlier. ok is false where the file's first line cannot be told to be the header.
func endOf(f io.ReaderAt, size int64, row int, place int64) (end fileEnd, ok bool) {
	piece := make([]byte, pieceSize)
	var names []byte // the header
	at := int64(0)
	for {
		n, err := f.ReadAt(piece[:min(pieceSize, size-at)], at)
		text := piece[:bytes.LastIndexByte(piece[:n], '\n')+1]
		lines, plain := plainLines(text)
		if err != nil && err != io.EOF || !plain || at+int64(len(text)) > place {
			break
		}
		if names == nil {
			first := bytes.IndexByte(text, '\n') + 1
			names = bytes.Clone(text[:first])
			lines--
		}
		if end.before+lines >= row {
			break
		}
		end.before += lines
		at += int64(len(text))
	}
	if at == 0 {
		return end, false
	}
	end.Reader = io.MultiReader(bytes.NewReader(names), io.NewSectionReader(f, at, size-at))
	return end, true
}

// plainLines counts the lines of a text that ends with one. It is plain where each of them
// is a row: none is blank, too long, or has quotes.
func plainLines(text []byte) (lines int, plain bool) {
	if len(text) == 0 || bytes.IndexByte(text, '"') >= 0 {
		return 0, false
	}
	for len(text) > 0 {
		n := bytes.IndexByte(text, '\n')
		if n == 0 || n == 1 && text[0] == '\r' || n > longestLine {
			return 0, false
		}
		lines++
		text = text[n+1:]
	}
	return lines, true
}
