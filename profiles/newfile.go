package profiles

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// WriteNew writes a file of the format to fill in: every key with what it is for, and
// an example of its value. Keys that may be left out stand behind a "#". Lengths are in
// units.
func (f *Format) WriteNew(w io.Writer, units Units) error {
	return f.writeFile(w, units, true)
}

// WriteExample writes a short file of the format, with the keys alone that a usual one
// has.
func (f *Format) WriteExample(w io.Writer, units Units) error {
	return f.writeFile(w, units, false)
}

// writeFile writes an example of a file. all has it say every key, and what each is for.
func (f *Format) writeFile(w io.Writer, units Units, all bool) error {
	var b strings.Builder
	if all {
		fmt.Fprintf(&b, "# %s\n# A key behind a # may be left out.\n", strings.ReplaceAll(f.Intro, "\n", "\n# "))
	}
	tables := f.asked()
	for i, s := range f.sections {
		if s.like != "" || s.unused && !all {
			continue
		}
		off := ""
		if s.unused {
			off = "# "
		}
		if s.head != "" {
			b.WriteString("\n")
			if all && s.says != "" {
				fmt.Fprintf(&b, "# %s\n", s.says)
			}
			fmt.Fprintf(&b, "%s%s\n", off, s.head)
		}
		for _, e := range s.entries {
			if a, ok := find(tables[i], e.key); ok && (all || !e.unused) {
				e.write(&b, a, units, all, off)
			}
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// write writes a key with its example, behind off.
func (e *entry) write(b *strings.Builder, a asked, units Units, all bool, off string) {
	key, example := e.key, e.example
	if a.length {
		key += "_" + string(units)
	}
	if a.length && units == Inches {
		example = e.inches()
	}
	if e.unused {
		off = "# "
	}
	if all {
		fmt.Fprintf(b, "# %s; %s\n", units.Text(e.says), a.takes(string(units)))
	}
	fmt.Fprintf(b, "%s%s = %s\n", off, key, tomlValue(example))
}

// inches is the example of a length in inches.
func (e *entry) inches() any {
	if e.inInches != nil {
		return e.inInches
	}
	thousandth := func(mm float64) float64 { return math.Round(mm/mmPerInch*1000) / 1000 }
	if list, ok := e.example.([]float64); ok {
		out := make([]float64, len(list))
		for i, mm := range list {
			out[i] = thousandth(mm)
		}
		return out
	}
	return thousandth(e.example.(float64))
}

// tomlValue writes a value as TOML does.
func tomlValue(v any) string {
	switch v := v.(type) {
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case string:
		return strconv.Quote(v)
	case []float64:
		return tomlList(v)
	case []string:
		return tomlList(v)
	}
	panic(fmt.Sprintf("an example of type %T", v)) // a slip in the table of keys
}

func tomlList[T any](list []T) string {
	parts := make([]string, len(list))
	for i, x := range list {
		parts[i] = tomlValue(x)
	}
	return "[" + strings.Join(parts, ", ") + "]"
}
