package table

import (
	"bytes"
	"cmp"
	"io"
	"slices"
)

// blockSize is how much of a file is read at once where it is read by blocks, bytes.
const blockSize = 128 << 10

// A cutter cuts CSV into blocks of whole rows. It knows where rows end by counting
// quotes: a line end ends a row when an even number of quotes stands before it. That is
// wrong only after a quote that is wrong itself, which whoever reads the blocks finds.
type cutter struct {
	r    io.Reader
	size int    // of a block, bytes; more where a row needs it
	line int    // on which the next block begins
	left []byte // was read, and is in no block yet
	err  error  // of r, io.EOF among them; no more can be read
}

// open reads the header. long is true when it stands in the first block, and more than
// that one stands in the file: what follows the header is in blocks then. Otherwise
// plain goes on to the end of the file.
func (c *cutter) open(name string, l *Layout, need []string) (plain *Reader, long bool, err error) {
	c.left = make([]byte, c.size)
	c.left = c.left[:c.fill(c.left)]
	if c.err == nil {
		plain, err = Open(bytes.NewReader(c.left), name, l, need)
		if err == nil && plain.head < len(c.left) {
			c.line = 1 + bytes.Count(c.left[:plain.head], []byte("\n"))
			c.left = c.left[plain.head:]
			return plain, true, nil
		}
	}
	plain, err = Open(c.rest(), name, l, need)
	return plain, false, err
}

// fill reads as much as there is room for.
func (c *cutter) fill(room []byte) (n int) {
	n, c.err = io.ReadFull(c.r, room)
	if c.err == io.ErrUnexpectedEOF {
		c.err = io.EOF
	}
	return n
}

// next returns the next block, which takes the place of buf, and the line on which it
// begins. ok is false when there are no whole rows up to the end, or no row of a
// lawful size: rest has what follows then.
func (c *cutter) next(buf []byte) (text []byte, line int, ok bool) {
	text = append(buf[:0], c.left...)
	for len(text) <= MaxRow+c.size {
		if len(text) >= c.size {
			if end := blockEnd(text); end > 0 {
				return c.cut(text, end)
			}
		}
		if c.err != nil {
			break
		}
		n := len(text)
		text = slices.Grow(text, c.size)[:n+c.size]
		text = text[:n+c.fill(text[n:])]
		if end := blockEnd(text); end > 0 {
			return c.cut(text, end)
		}
	}
	c.left = append(c.left[:0], text...)
	return nil, c.line, false
}

// cut ends a block, and leaves what is behind it.
func (c *cutter) cut(text []byte, end int) (block []byte, line int, ok bool) {
	c.left = append(c.left[:0], text[end:]...)
	line = c.line
	c.line += bytes.Count(text[:end], []byte("\n"))
	return text[:end], line, true
}

// mostLines is how many lines a block has: a row's values take more memory than a short
// row.
const mostLines = 2000

// blockEnd returns where a block ends: behind whole rows, of no more lines than one has.
func blockEnd(text []byte) int {
	end := 0
	for range mostLines {
		i := bytes.IndexByte(text[end:], '\n')
		if i < 0 {
			return lastRowEnd(text)
		}
		end += i + 1
	}
	return cmp.Or(lastRowEnd(text[:end]), lastRowEnd(text))
}

// lastRowEnd returns where the last whole row of a text ends that begins with a row; 0
// when there is none.
func lastRowEnd(text []byte) int {
	quotes := bytes.Count(text, []byte(`"`))
	for end := len(text); ; {
		i := bytes.LastIndexByte(text[:end], '\n')
		quotes -= bytes.Count(text[i+1:end], []byte(`"`))
		if i < 0 || quotes%2 == 0 {
			return i + 1
		}
		end = i
	}
}

// rest is what is in no block.
func (c *cutter) rest() io.Reader {
	if c.err != nil {
		return io.MultiReader(bytes.NewReader(c.left), broken{c.err})
	}
	return io.MultiReader(bytes.NewReader(c.left), c.r)
}

// broken is a reader of which there is only an error.
type broken struct{ err error }

func (b broken) Read([]byte) (int, error) { return 0, b.err }
