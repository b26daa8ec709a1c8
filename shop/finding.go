package shop

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"hash"
	"maps"
	"math"
	"slices"
	"time"

	"evenpole/capture/record/pack"
	"evenpole/fit"
	"evenpole/fit/cell"
)

// A shop's readings.found is what the last fit found in a long record: which mistakes the
// record seems to hold, and a digest of the model. Commands that look for mistakes in the
// same cells, and a fit of them, need not search again. It may be deleted at any time. A
// [Fitting] that ends well writes it, and nothing else does.
//
// It holds, packed one after the other: foundMark, foundFormat and a [found]; and after
// that the SHA-256 of all this. It is of one record as it stood and not of what follows:
// it is believed where the same build of the program, with the same calibrations, has made
// cells of the same bytes of readings, all of which are looked at, and found the same in
// the fields of their magnets.
const (
	foundMark   = "evenpole found"
	foundFormat = 1
)

// finding looks up what was found in a record, and keeps what is found.
type finding struct {
	folder
	readings int64             // bytes
	made     [sha256.Size]byte // from what, and by what, cells were made
	kept     found             // zero where nothing is kept of these cells
	now      found
}

// found is what was found in cells.
type found struct {
	of       string // digest of what the cells are made of
	light    []lightCell
	suspects string // as JSON, which tells an empty list from none
	model    string // digest of the model's file, without its history; "" for none
}

// lightCell is a cell that a mistake seems to touch.
type lightCell struct {
	at     int // in cell.Data.Cells
	weight float64
}

func (x *found) pack(c *pack.Coder) {
	mark, format := foundMark, foundFormat
	pack.Text(c, &mark)
	pack.Whole(c, &format)
	c.Check(mark == foundMark && format == foundFormat)
	pack.Text(c, &x.of)
	pack.List(c, &x.light, func(l *lightCell) {
		pack.Whole(c, &l.at)
		c.Float(&l.weight)
		c.Check(l.at >= 0 && 0 < l.weight && l.weight < 1)
	})
	pack.Text(c, &x.suspects)
	pack.Text(c, &x.model)
}

// finding is what finds in the readings as they were opened; nil where it cannot be told
// what they are, or they may have changed since.
func (k *recordCells) finding() *finding {
	reach, ok := k.stand.Reach(k.stand.Size())
	if !ok || k.origin == "" || !k.stand.Unchanged() {
		return nil
	}
	w := pack.Write()
	head := cellsHead{cellsMark, cellsFormat, k.origin, reach}
	head.pack(w)
	return &finding{folder: k.folder, readings: k.stand.Size(), made: sha256.Sum256(w.Bytes())}
}

// recall does to cells what [screen.Screen] did to the same ones, where that is kept.
func (f *finding) recall(d *cell.Data) bool {
	f.now.of = f.digestOf(d)
	text, ok := readKept(f.found(), f.readings)
	if !ok {
		return false
	}
	var x found
	c := pack.Read(text)
	x.pack(c)
	var suspects []cell.Suspect
	if c.Damaged() || len(c.Bytes()) > 0 || x.of != f.now.of || json.Unmarshal([]byte(x.suspects), &suspects) != nil ||
		slices.ContainsFunc(x.light, func(l lightCell) bool { return l.at >= len(d.Cells) }) {
		return false
	}
	for i := range d.Cells {
		d.Cells[i].Weight = 1
	}
	for _, l := range x.light {
		d.Cells[l.at].Weight = l.weight
	}
	d.Suspects = suspects
	f.kept, f.now = x, x
	return true
}

// note notes what the screening found in cells.
func (f *finding) note(d *cell.Data) {
	for i := range d.Cells {
		if w := d.Cells[i].Weight; w != 1 {
			f.now.light = append(f.now.light, lightCell{i, w})
		}
	}
	text, err := json.Marshal(d.Suspects)
	if err != nil { // evidence without bounds
		f.now.of = ""
	}
	f.now.suspects = string(text)
}

// digestOf is a digest of what cells were made of: of what follows the readings themselves,
// before the screening, all that is not worked out from the rest is in it.
func (f *finding) digestOf(d *cell.Data) string {
	h := sha256.New()
	h.Write(f.made[:])
	var b []byte
	for _, cells := range [][]cell.Cell{d.Cells, d.Impossible} {
		b = binary.LittleEndian.AppendUint64(b, uint64(len(cells)))
		for i := range cells {
			known := byte(0)
			if cells[i].FieldKnown {
				known = 1
			}
			b = append(binary.LittleEndian.AppendUint64(b, math.Float64bits(cells[i].Field)), known)
		}
	}
	h.Write(b)
	for _, figures := range []map[string]float64{d.Magnets, d.Batches, {"": d.FieldSD}} {
		writeFigures(h, figures)
	}
	return string(h.Sum(nil))
}

func writeFigures(h hash.Hash, figures map[string]float64) {
	w := pack.Write()
	names := slices.Sorted(maps.Keys(figures))
	pack.List(w, &names, func(name *string) {
		pack.Text(w, name)
		v := figures[*name]
		w.Float(&v)
	})
	h.Write(w.Bytes())
}

// model is the shop's current model where the last fit of the very same cells, by this
// program, made it; else nil.
func (f *finding) model(program string) *fit.Result {
	if f.kept.model == "" {
		return nil
	}
	s := &Shop{time.Now, f.folder}
	name, err := s.CurrentModel()
	if err != nil {
		return nil
	}
	r, err := s.ReadModel(name)
	if err != nil || r.Program != program {
		return nil
	}
	r.History = nil
	if modelDigest(r) != f.kept.model {
		return nil
	}
	return r
}

// keep writes what was found, and which model was fitted.
func (f *finding) keep(r *fit.Result) {
	if f.now.of == "" {
		return
	}
	f.now.model = modelDigest(r)
	w := pack.Write()
	f.now.pack(w)
	if out := withDigest(w.Bytes()); mayKeep(int64(len(out)), f.readings) {
		(&keptFile{f.found(), out}).write()
	}
}

// modelDigest is that of a model's file, before it has a history.
func modelDigest(r *fit.Result) string {
	h := sha256.New()
	if r.Write(h) != nil {
		return ""
	}
	return string(h.Sum(nil))
}
