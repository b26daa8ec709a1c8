package cell

import (
	"crypto/sha256"
	"fmt"
	"hash"
	"io"
	"maps"
	"slices"
	"strconv"
	"time"

	"evenpole/fit/solve"
)

// Fingerprint is the SHA-256 of all that a model can learn from the cells, in
// hex. Neither the order of rows nor what was left out changes it, nor does what
// the program calls a field of a cell: what is hashed is written out here.
func (d *Data) Fingerprint() string {
	whole, _ := d.Fingerprints(nil, nil)
	return whole
}

// Partition says to which part each cell belongs, from 0; -1 = none.
type Partition struct {
	Of    []int
	Parts int
}

// write writes the lines of cells from a place on to the hashes of their parts.
func (p *Partition) write(lines [][]byte, from int, to []hash.Hash) {
	for x, line := range lines {
		if part := p.Of[from+x]; part >= 0 {
			to[part].Write(line)
		}
	}
}

// Fingerprints are the fingerprint of the data, and for each of two ways to cut the
// cells into parts those of the parts alone, as data without magnets. Either may be
// nil. Every cell is written once, some at the same time, so that memory is bounded.
func (d *Data) Fingerprints(cuts ...*Partition) (whole string, parts [][]string) {
	h := newHash()
	hashes := make([][]hash.Hash, len(cuts))
	for k, cut := range cuts {
		if cut != nil {
			hashes[k] = make([]hash.Hash, cut.Parts)
			for p := range hashes[k] {
				hashes[k][p] = newHash()
			}
		}
	}
	jigs := SeveralJigs(d.Cells)
	const batch = 16384 // cells whose text is held
	room := roomFor(min(batch, len(d.Cells)))
	for from := 0; from < len(d.Cells); from += batch {
		lines := room[:min(batch, len(d.Cells)-from)]
		d.write(lines, from, jigs)
		solve.InParallelEach(1+len(cuts), func(k int) {
			if k == len(cuts) {
				for _, line := range lines {
					h.Write(line)
				}
			} else if cut := cuts[k]; cut != nil {
				cut.write(lines, from, hashes[k])
			}
		})
	}
	for _, list := range hashes {
		var out []string
		for _, part := range list {
			out = append(out, (&Data{}).endHash(part))
		}
		parts = append(parts, out)
	}
	return d.endHash(h), parts
}

func newHash() hash.Hash {
	h := sha256.New()
	fmt.Fprintln(h, "evenpole cells 1")
	return h
}

// endHash writes what follows the cells.
func (d *Data) endHash(h hash.Hash) string {
	writeNamed(h, "magnet", d.Magnets)
	writeNamed(h, "batch", d.Batches)
	fmt.Fprintf(h, "field_sd=%v\n", d.FieldSD)
	return fmt.Sprintf("%x", h.Sum(nil))
}

// roomFor is room for the lines of some cells, most of which have less.
func roomFor(cells int) [][]byte {
	const line = 400 // bytes
	text := make([]byte, line*cells)
	out := make([][]byte, cells)
	for i := range out {
		out[i] = text[line*i : line*i : line*(i+1)]
	}
	return out
}

// write writes the lines of cells from a place on, in the room that lines have.
func (d *Data) write(lines [][]byte, from int, jigs bool) {
	solve.InParallel(len(lines), func(first, last int) {
		for i := first; i < last; i++ {
			lines[i] = d.Cells[from+i].appendTo(lines[i][:0], jigs)
		}
	})
}

// appendTo appends what a fingerprint covers of a cell, one line. Numbers have as
// many digits as tell them from their neighbours. The jig is told where there are several.
func (c *Cell) appendTo(b []byte, jigs bool) []byte {
	word := func(name, v string) { b = appendQuoted(append(b, name...), v) }
	number := func(name string, v float64) { b = strconv.AppendFloat(append(b, name...), v, 'g', -1, 64) }
	count := func(name string, v int) { b = strconv.AppendInt(append(b, name...), int64(v), 10) }
	word("pickup=", c.Pickup)
	word(" session=", c.Session)
	count(" string=", c.String)
	word(" set=", c.Set)
	number(" core=", c.Core)
	number(" gauge=", c.Gauge)
	word(" wrap=", string(c.Wrap))
	number(" pole_height=", c.PoleHeight)
	number(" string_height=", c.StringHeight)
	word(" mode=", string(c.Mode))
	word(" excite=", string(c.Excite))
	word(" batch=", c.Batch)
	count(" takes=", c.Takes)
	number(" mean=", c.Mean)
	number(" sd=", c.SD)
	number(" freq=", c.Freq)
	if c.Under != "" {
		word(" under=", string(c.Under))
	}
	first := ""
	if !c.First.IsZero() {
		first = c.First.Time().Format(time.RFC3339Nano)
	}
	word(" first=", first)
	number(" weight=", c.Weight)
	number(" field=", c.Field)
	b = strconv.AppendBool(append(b, " field_known="...), c.FieldKnown)
	b = strconv.AppendBool(append(b, " usual_pitch="...), c.UsualPitch)
	if jigs {
		word(" jig=", c.Jig)
	}
	if c.ByHand { // others are written as they were before there were recordings
		word(" by_hand scale=", c.Scale)
	}
	return append(b, '\n')
}

// appendQuoted appends a text in quotes, as strconv.AppendQuote does: it is told at a
// glance of most that nothing in them wants a backslash.
func appendQuoted(b []byte, text string) []byte {
	for i := range len(text) {
		if c := text[i]; c < ' ' || c > '~' || c == '"' || c == '\\' {
			return strconv.AppendQuote(b, text)
		}
	}
	return append(append(append(b, '"'), text...), '"')
}

// writeNamed writes figures by name, in order.
func writeNamed(w io.Writer, what string, figures map[string]float64) {
	for _, name := range slices.Sorted(maps.Keys(figures)) {
		fmt.Fprintf(w, "%s %q=%v\n", what, name, figures[name])
	}
}
