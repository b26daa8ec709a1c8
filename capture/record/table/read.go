package table

import (
	"io"
	"iter"
)

// Read reads a file into values. A row that is wrong comes as a *RowError in place of
// its value, and the rows after it still follow. Whatever else goes wrong ends the
// sequence.
//
// Where more rows are wanted than stand in one block, blocks are read ahead, on all
// cores; nothing is read any more when the sequence has ended.
func Read[T any](r io.Reader, name string, t *Table[T], need []string) iter.Seq2[T, error] {
	return read(r, name, t, need, blockSize)
}

// read is Read with blocks of some size.
func read[T any](r io.Reader, name string, t *Table[T], need []string, size int) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		c := &cutter{r: r, size: size}
		plain, long, err := c.open(name, t.Layout, need)
		switch {
		case err != nil:
			var none T
			yield(none, err)
		case long:
			readBlocks(c, t, plain, yield)
		default:
			readPlain(plain, t, yield)
		}
	}
}
