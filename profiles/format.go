package profiles

import (
	"fmt"
	"io"
	"strings"
)

// A Format is a kind of file that a shop writes by hand. What each key takes is asked
// of the reader of such files, and so cannot be said otherwise than it is read; what a
// key is for stands in formats.go.
type Format struct {
	Name     string // "order"
	Intro    string // what the file is, in a sentence or two
	sections []section
	samples  string            // folder of files for help; "" for none
	read     func(d *document) // reads a document as such a file
}

// section is a table of a file with its keys, in the order in which people fill them in.
type section struct {
	head    string // as in the file; "" at the top
	says    string // of the table; may be empty
	unused  bool   // stands commented out in a new file
	like    string // head of the section whose keys these are, too
	entries []entry
}

// entry says what a key is for.
type entry struct {
	key       string // of a length: without its unit
	says      string
	example   any    // float64 or []float64 (lengths in mm), string, []string
	inInches  any    // the example of a length in inches where it is no round figure in mm
	unused    bool   // stands commented out in a new file
	inPlaceOf string // keys that have to go where this one is there, with commas between
}

// A Key is a key of a file.
type Key struct {
	Section  string // as in the file: "[pickup]"; "" at the top
	Name     string // with its unit
	Inches   string // the same key in inches; "" of what is no length
	Required bool
	Takes    string // what values: "0.15 to 4 mm"
	Says     string
}

// Keys lists the keys of a file of the format, section by section.
func (f *Format) Keys() []Key {
	tables := f.asked()
	var keys []Key
	for i, s := range f.sections {
		for _, e := range s.entries {
			a, ok := find(tables[i], e.key)
			if !ok {
				continue // a test compares both lists
			}
			k := Key{Section: s.head, Name: a.key, Required: a.need, Takes: a.takes("mm"), Says: e.says}
			if a.length {
				k.Name, k.Inches = a.key+"_mm", a.key+"_in"
			}
			keys = append(keys, k)
		}
	}
	return keys
}

// asked is what the reader asks each section for: it is shown a file that has every
// table and no key.
func (f *Format) asked() [][]asked {
	var text strings.Builder
	line := map[int]int{1: 0} // of a section's head, to the section; 1 is the top of the file
	for i, s := range f.sections {
		fmt.Fprintf(&text, "\n%s", s.head)
		if s.head != "" {
			line[i+2] = i
		}
	}
	d, err := parse(f.Name, []byte(text.String()))
	if err != nil {
		panic(err) // the heads are part of the program, and a test reads them
	}
	f.read(d)
	out := make([][]asked, len(f.sections))
	for _, t := range d.read {
		if i, ok := line[t.at.line]; ok && !t.absent && (t.name == "") == (f.sections[i].head == "") {
			out[i] = t.asked
		}
	}
	return out
}

func find(list []asked, key string) (asked, bool) {
	for _, a := range list {
		if a.key == key {
			return a, true
		}
	}
	return asked{}, false
}

// takes says what values a key takes, lengths in mm or in.
func (a *asked) takes(units string) string {
	list := ""
	if strings.HasPrefix(a.kind, "a list") {
		list = "a list, each "
	}
	key := a.key
	if a.length {
		key += "_" + units
	}
	switch {
	case a.limits != span{}:
		return list + a.limits.in(unitOf(key))
	case list != "":
		return "a list of texts"
	}
	return a.kind
}

// Write writes the keys of the format for people to read.
func (f *Format) Write(w io.Writer) error {
	var b strings.Builder
	b.WriteString(f.Intro + "\n")
	keys := f.Keys()
	for _, s := range f.sections {
		fmt.Fprintf(&b, "\n%s\n", heading(s))
		if s.like != "" {
			fmt.Fprintf(&b, "  the keys of %s\n", s.like)
			continue
		}
		for _, k := range keys {
			if k.Section == s.head {
				k.write(&b)
			}
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func heading(s section) string {
	head := s.head
	if head == "" {
		head = "At the top of the file"
	}
	if s.says != "" {
		head += "  " + s.says
	}
	return head
}

func (k *Key) write(b *strings.Builder) {
	name, need := k.Name, ""
	if k.Inches != "" {
		name += " (or _in)"
	}
	if k.Required {
		need = ", required"
	}
	fmt.Fprintf(b, "  %s: %s%s\n", name, k.Takes, need)
	for _, line := range wrapped(k.Says, 76) {
		fmt.Fprintf(b, "      %s\n", line)
	}
}

// wrapped breaks a text into lines of so many letters.
func wrapped(text string, width int) []string {
	var lines []string
	for _, word := range strings.Fields(text) {
		last := len(lines) - 1
		if last >= 0 && len(lines[last])+1+len(word) <= width {
			lines[last] += " " + word
			continue
		}
		lines = append(lines, word)
	}
	return lines
}
