package profiles

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// parse reads TOML text. The first pass of the library checks the grammar and
// that nothing is defined twice; the second keeps the places.
func parse(file string, text []byte) (*document, error) {
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf")) // some editors begin UTF-8 with a mark
	d := &document{file: file, text: text, lines: []int{0}}
	for i, b := range text {
		if b == '\n' && len(d.lines) <= maxLines {
			d.lines = append(d.lines, i+1)
		}
	}
	if at, what := d.tooLarge(); what != "" {
		return nil, d.errorAt(at, "", "expected at most %s, got more", what)
	}
	if i := invalidUTF8(text); i >= 0 {
		return nil, d.errorAt(d.place(i), "", "expected UTF-8 text, got the byte 0x%02X", text[i])
	}
	var all map[string]any
	if err := toml.Unmarshal(text, &all); err != nil {
		return nil, d.syntaxError(err)
	}
	d.top = d.newTable("", place{1, 1})
	d.read = []*table{d.top}
	return d, d.build()
}

// invalidUTF8 returns the offset of the first byte that is not UTF-8, or -1.
func invalidUTF8(text []byte) int {
	for i := 0; i < len(text); {
		r, size := utf8.DecodeRune(text[i:])
		if r == utf8.RuneError && size == 1 {
			return i
		}
		i += size
	}
	return -1
}

// syntaxError puts the library's words at their place.
func (d *document) syntaxError(err error) error {
	var de *toml.DecodeError
	if !errors.As(err, &de) {
		return d.errorAt(place{1, 1}, "", "%v", err)
	}
	line, column := de.Position()
	offset := min(d.lines[line-1]+column-1, len(d.text))
	msg := inRunes(strings.TrimPrefix(de.Error(), "toml: "), d.text[offset:])
	return d.errorAt(d.place(offset), strings.Join(de.Key(), "."), "%s%s", msg, hint(msg, d.text[:offset], d.text[offset:]))
}

// decimalPoint is what to do about decimal commas.
const decimalPoint = "; decimals take a point: 3.1"

// inRunes tells the character at a mistake where the library tells its first byte.
func inRunes(msg string, rest []byte) string {
	r, size := utf8.DecodeRune(rest)
	if size < 2 {
		return msg
	}
	return strings.ReplaceAll(msg, fmt.Sprintf("%#U", rest[0]), fmt.Sprintf("%#U", r))
}

// hint says what to write instead, for the slips that TOML's grammar invites.
func hint(msg string, before, rest []byte) string {
	last, _ := utf8.DecodeLastRune(before)
	next, _ := utf8.DecodeRune(rest)
	end, _ := utf8.DecodeLastRune(bytes.TrimRight(before, " \t"))
	text, unquoted := unquotedText(before, rest)
	switch {
	case unicode.IsDigit(last) && next == ',':
		return decimalPoint
	case next == '.':
		return "; a number starts with a digit: 0.010"
	case strings.HasPrefix(msg, "table ") && strings.HasSuffix(msg, " already exists"):
		return "; a header that stands more than once takes two brackets, such as [[string]]"
	case strings.ContainsRune(curlyQuotes, next):
		return `; quotes are straight ones: "`
	case unquoted:
		return fmt.Sprintf("; a text stands between quotes: %q", text)
	case strings.HasSuffix(msg, "at start of value") && (next == '\n' || next == '\r'):
		return "; the value is missing"
	case strings.HasPrefix(msg, "expected newline") && unicode.IsDigit(end):
		return "; a number stands alone, without a unit or a fraction: 2.0625"
	case strings.HasPrefix(msg, "expected newline") && end == '"':
		return `; a line has one value, and a quote within a text is written \"`
	case strings.HasPrefix(msg, "basic strings cannot have new lines"), strings.HasPrefix(msg, "unterminated basic string"):
		return "; the quote at the end of the text is missing"
	case strings.HasPrefix(msg, "invalid escape character"):
		return `; a backslash in a text is written twice: \\`
	}
	return ""
}

// curlyQuotes are those that editors of letters put in place of straight ones.
const curlyQuotes = "\u2018\u2019\u201a\u201b\u201c\u201d\u201e\u201f\u00ab\u00bb"

// unquotedText is the value of the line at a mistake where it begins like a text without
// quotes.
func unquotedText(before, rest []byte) (text string, ok bool) {
	start, _, _ := bytes.Cut(rest, []byte("\n"))
	line := append(bytes.Clone(before[bytes.LastIndexByte(before, '\n')+1:]), start...)
	_, value, ok := strings.Cut(string(line), "=")
	value, _, _ = strings.Cut(value, "#")
	value = strings.TrimSpace(value)
	first, _ := utf8.DecodeRuneInString(value)
	return value, ok && unicode.IsLetter(first) && !strings.ContainsAny(value, `"\`)
}

// place turns a byte offset into line and column.
func (d *document) place(offset int) place {
	line, found := slices.BinarySearch(d.lines, offset)
	if !found {
		line--
	}
	return place{line + 1, utf8.RuneCount(d.text[d.lines[line]:offset]) + 1}
}

// build fills the tree.
func (d *document) build() error {
	var p unstable.Parser
	p.Reset(d.text)
	current := d.top
	for p.NextExpression() {
		switch e := p.Expression(); e.Kind {
		case unstable.KeyValue:
			d.put(current, e)
		case unstable.Table:
			t, last := d.descend(d.top, e.Key())
			current = t.sub(last.name, last.at)
			current.at = last.at
		case unstable.ArrayTable:
			t, last := d.descend(d.top, e.Key())
			current = t.grow(last.name, last.at)
		}
	}
	if err := p.Error(); err != nil {
		return d.errorAt(place{1, 1}, "", "%v", err)
	}
	return nil
}

// part is one name of a dotted key.
type part struct {
	name string
	at   place
}

// descend follows a dotted key down to the table that holds its last part.
func (d *document) descend(t *table, keys unstable.Iterator) (*table, part) {
	var last part
	for first := true; keys.Next(); first = false {
		if !first {
			t = t.sub(last.name, last.at)
		}
		n := keys.Node()
		last = part{string(n.Data), d.place(int(n.Raw.Offset))}
	}
	return t, last
}

// put stores a key and its value in t.
func (d *document) put(t *table, e *unstable.Node) {
	t, last := d.descend(t, e.Key())
	t.values[last.name] = d.value(last.name, e.Value(), last.at)
}

// value copies a node out of the parser, which will use it again.
func (d *document) value(name string, n *unstable.Node, key place) *value {
	v := &value{at: key, key: key, kind: n.Kind, text: string(n.Data)}
	if n.Raw.Length > 0 {
		v.at = d.place(int(n.Raw.Offset))
	}
	children := n.Children()
	switch n.Kind {
	case unstable.Array:
		for children.Next() {
			v.list = append(v.list, d.value(name, children.Node(), key))
		}
	case unstable.InlineTable:
		v.table = d.newTable(name, v.at)
		for children.Next() {
			d.put(v.table, children.Node())
		}
	}
	return v
}
