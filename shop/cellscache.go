package shop

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"iter"
	"os"
	"runtime/debug"

	"evenpole/capture/record"
	"evenpole/capture/record/pack"
	"evenpole/fit/cell"
	"evenpole/fit/gain"
)

// A shop's readings.cells is what was made of its readings so far, before fields and the
// screening, so that a later command reads the rows that follow alone. It may be deleted
// at any time, which costs the time to read them all. A [Fitting] that ends well writes
// it, and nothing else does.
//
// It holds, packed one after the other: cellsMark, cellsFormat, where it came from, how
// far the readings were read and a [cell.Gathering]; and after that the SHA-256 of all
// this. It is believed where
//
//   - it is whole, by that digest;
//   - this very build of the program wrote it, and the calibrations are the same;
//   - the readings begin with the same bytes as back then, all of which are looked at;
//   - the rows that follow neither belong to a cell of which it has the sum alone, nor
//     take a row of one back.
//
// Otherwise all rows are read, as if it were not there, and no command says so. A shop
// from elsewhere may come with cells that somebody made up for its readings: no digest
// tells, as little as one tells of rows that somebody made up. What stands in the file is
// held to what readings can be, so that such cells harm nothing but the figures of that
// shop.
const (
	cellsMark   = "evenpole cells"
	cellsFormat = 5 // raise it when cells are made or packed otherwise
)

// mostUnread is how many bytes of readings are read every time rather than that the
// cells are written: some milliseconds' work.
const mostUnread = 256 << 10

// recordCells gathers a record's readings, with the help of what is kept of its cells.
type recordCells struct {
	folder
	stand  *record.Stand
	origin string
	rows   func(iter.Seq2[record.Reading, error]) iter.Seq2[record.Reading, error] // as they are gathered
	unread int64                                                                   // bytes at the end of the readings of which nothing is kept
}

// openRecordCells opens a record's readings.
func openRecordCells(ctx context.Context, f folder, book gain.Book) (*recordCells, error) {
	stand, err := record.OpenStand(f.ReadingsFile())
	if err != nil {
		return nil, openError(f.ReadingsFile(), err)
	}
	rows := func(rows iter.Seq2[record.Reading, error]) iter.Seq2[record.Reading, error] {
		return book.Apply(until(ctx, "readings", rows))
	}
	return &recordCells{folder: f, stand: stand, origin: originOf(book), rows: rows, unread: stand.Size()}, nil
}

// originOf tells apart what made cells: the build of the program, by what it says of itself
// and by its file, as changed source may say the same; and the calibrations. "" is none.
func originOf(book gain.Book) string {
	h := sha256.New()
	if info, ok := debug.ReadBuildInfo(); ok {
		io.WriteString(h, info.String())
	}
	self, err := os.Executable()
	if err != nil {
		return ""
	}
	info, err := os.Stat(self)
	if err != nil {
		return ""
	}
	fmt.Fprintln(h, info.Size(), info.ModTime().UnixNano())
	if json.NewEncoder(h).Encode(book) != nil {
		return ""
	}
	return string(h.Sum(nil))
}

// resume goes on from what is kept; nil where that does not help.
func (k *recordCells) resume() *cell.Gathering {
	text, ok := readKept(k.cells(), k.stand.Size())
	if !ok {
		return nil
	}
	c := pack.Read(text)
	var head cellsHead
	head.pack(c)
	if c.Damaged() || head.mark != cellsMark || head.format != cellsFormat || k.origin == "" || head.origin != k.origin {
		return nil
	}
	same := make(chan bool, 1)
	go func() { // beside the unpacking, which one core does
		now, ok := k.stand.Reach(head.reach.Size)
		same <- ok && now == head.reach
	}()
	x := cell.Resume(c)
	if !<-same || c.Damaged() || len(c.Bytes()) > 0 {
		return nil
	}
	if ok, err := x.Add(k.rows(k.stand.After(head.reach))); !ok || err != nil {
		return nil
	}
	k.unread -= head.reach.Size
	return x
}

// pack is what was made of the readings, as it is kept; nil where that cannot be, or the
// readings may have changed since they were opened.
func (k *recordCells) pack(x *cell.Gathering) []byte {
	reach, ok := k.stand.Reach(k.stand.Size())
	if !ok || k.origin == "" {
		return nil
	}
	w := pack.Write()
	head := cellsHead{cellsMark, cellsFormat, k.origin, reach}
	head.pack(w)
	x.Pack(w)
	out := withDigest(w.Bytes())
	if !mayKeep(int64(len(out)), k.stand.Size()) || !k.stand.Unchanged() {
		return nil
	}
	return out
}

// cellsHead is what stands before the cells.
type cellsHead struct {
	mark   string
	format int
	origin string
	reach  record.Reach
}

func (h *cellsHead) pack(c *pack.Coder) {
	pack.Text(c, &h.mark)
	pack.Whole(c, &h.format)
	pack.Text(c, &h.origin)
	h.reach.Pack(c)
}
