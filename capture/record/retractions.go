package record

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"iter"

	"evenpole/capture/record/table"
)

// Retractions are the rows of a readings file that take readings back, in order. The
// other rows, which are most of them, are not read, only looked at for the word, so that
// this takes a tenth of the time. A row that cannot be read is left for whoever reads all
// of them; there are no rows where there is no file.
func Retractions(path string) ([]Reading, error) { return retractions(path, Readings) }

// FieldRetractions are likewise those of a file of field readings.
func FieldRetractions(path string) ([]FieldReading, error) { return retractions(path, Fields) }

func retractions[T any, P interface {
	*T
	Row
}](path string, rows func(io.Reader, string) iter.Seq2[T, error]) ([]T, error) {
	f, err := openNow(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := rowsWith(f, []byte(Retracted))
	if err != nil {
		return nil, err
	}
	var back []T
	for x, err := range rows(bytes.NewReader(text), path) {
		if err == nil && P(&x).state() == Retracted {
			back = append(back, x)
		}
	}
	return back, nil
}

// rowsWith are the header of CSV and the rows that have a word in them, as they stand.
func rowsWith(r io.Reader, word []byte) (text []byte, err error) {
	lines := table.NewLines(r)
	for header := true; ; header = false {
		row, err := lines.Next()
		if err == io.EOF {
			return text, nil
		}
		if err != nil {
			return nil, err
		}
		if header || bytes.Contains(row, word) {
			text = append(text, row...)
		}
	}
}

// A Counting goes once through the rows of a file and tells which count, though a later
// row may take a reading back. It keeps the rows of readings that are taken back.
type Counting[T any, P interface {
	*T
	Row
}] struct {
	standing Standing
	doubtful map[ID]bool // some row takes the reading back
	waiting  []waitingRow[T]
	meet     func(*T)
	count    func(*T, Reason)
}

// waitingRow is a row of which it is not known yet whether it counts.
type waitingRow[T any] struct {
	row T
	ref Ref
	why Reason
}

// Count begins to count the rows of a file that has these [Retractions]. meet hears of
// every row that takes none back and repeats none, in order; count hears of each of these
// with why it does not count, of some of them at the end alone.
func Count[T any, P interface {
	*T
	Row
}](retractions []T, meet func(*T), count func(*T, Reason)) *Counting[T, P] {
	c := &Counting[T, P]{doubtful: map[ID]bool{}, meet: meet, count: count}
	for i := range retractions {
		if id, named := P(&retractions[i]).ID(); named {
			c.doubtful[id] = true
		}
	}
	return c
}

// Add takes the next row.
func (c *Counting[T, P]) Add(row *T) {
	ref, why := c.standing.Meet(P(row))
	if why == TakesBack || why == Repeated {
		return
	}
	c.meet(row)
	if c.isDoubtful(P(row)) {
		c.waiting = append(c.waiting, waitingRow[T]{*row, ref, why})
		return
	}
	c.count(row, why)
}

func (c *Counting[T, P]) isDoubtful(row P) bool {
	if len(c.doubtful) == 0 {
		return false
	}
	id, named := row.ID()
	return named && c.doubtful[id]
}

// End counts the rows that wait.
func (c *Counting[T, P]) End() {
	for i := range c.waiting {
		w := &c.waiting[i]
		if c.standing.IsTakenBack(w.ref) {
			w.why = TakenBack
		}
		c.count(&w.row, w.why)
	}
	c.waiting = nil
}
