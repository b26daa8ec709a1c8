package profiles

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// place is where something stands in a file, both counted from 1.
type place struct{ line, column int }

// value is one value of a document. Exactly one of text, list and table says
// what it holds.
type value struct {
	at    place // of an array: its key
	key   place
	kind  unstable.Kind
	text  string   // what a string says, or how the file writes any other scalar
	list  []*value // of an array or of [[tables]]
	table *table
}

// document is a TOML file as a tree of values with their places, and the mistakes that
// were found in it so far.
type document struct {
	file    string
	text    []byte
	lines   []int // byte offset at which each line starts
	top     *table
	read    []*table // tables that a reader has asked for
	errs    []*Error // wrong values
	missing []*Error // required keys that are not there
}

// table is a TOML table as a reader sees it: the reader asks for keys, gets values in
// mm, and mistakes are noted in the document. A value that is wrong or missing reads as
// zero, so that a reader goes on to the end and asks once, with document.err.
type table struct {
	doc    *document
	name   string // as in its header; "" at the top
	at     place
	values map[string]*value
	known  []string // keys that were asked for
	asked  []asked  // the same, in that order, with what is expected of each
	absent bool     // not in the file: its keys are not missed
}

// asked is a key that a reader asked for, and what it expects of it: help on a file is
// written from these.
type asked struct {
	key    string // of a length: without its unit
	need   bool
	kind   string // as messages say it: "a length"
	length bool   // the key ends in _mm or _in
	limits span   // of a number or a length

	choices []string // of a text that is one of some
}

func (d *document) newTable(name string, at place) *table {
	return &table{doc: d, name: name, at: at, values: map[string]*value{}}
}

// sub returns the table under a key, the last one of [[tables]], and makes it
// when there is none yet.
func (t *table) sub(key string, at place) *table {
	v := t.values[key]
	if v != nil && len(v.list) > 0 {
		v = v.list[len(v.list)-1]
	}
	if v == nil || v.table == nil {
		v = &value{at: at, key: at, kind: unstable.InlineTable, table: t.doc.newTable(key, at)}
		t.values[key] = v
	}
	return v.table
}

// grow adds one more to the [[tables]] under a key.
func (t *table) grow(key string, at place) *table {
	v := t.values[key]
	if v == nil {
		v = &value{at: at, key: at, kind: unstable.Array}
		t.values[key] = v
	}
	item := &value{at: at, key: at, kind: unstable.InlineTable, table: t.doc.newTable(key, at)}
	v.list = append(v.list, item)
	return item.table
}

func (d *document) opened(t *table) *table {
	d.read = append(d.read, t)
	return t
}

func (d *document) fail(at place, key, format string, args ...any) {
	d.errs = append(d.errs, d.errorAt(at, key, format, args...))
}

func (d *document) errorAt(at place, key, format string, args ...any) *Error {
	return &Error{File: d.file, Line: at.line, Column: at.column, Key: key, Msg: fmt.Sprintf(format, args...)}
}

// found says what stands in the file, for messages.
func (v *value) found() string {
	switch v.kind {
	case unstable.String:
		return strconv.Quote(v.text)
	case unstable.Array:
		return "a list"
	case unstable.InlineTable:
		return "a table"
	}
	return v.text
}

// number returns the value of an integer or a float.
func (v *value) number() (float64, bool) {
	switch v.kind {
	case unstable.Integer:
		n, err := strconv.ParseInt(v.text, 0, 64) // base 0 knows 0x and 1_000
		return float64(n), err == nil
	case unstable.Float:
		x, err := strconv.ParseFloat(strings.ReplaceAll(v.text, "_", ""), 64)
		return x, err == nil
	}
	return 0, false
}
