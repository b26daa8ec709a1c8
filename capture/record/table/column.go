package table

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// A Column is a column of a file whose rows are values of type T: its name, the text
// of its cell, and how a cell sets the value. An empty cell is never wrong, and as good
// as an absent one.
type Column[T any] struct {
	name   string
	get    func(*T) string
	set    func(*T, *Cell)
	quick  func(*T, []byte) bool // sets the value as set does from text in its usual form, and else returns false; may be nil
	text   func(*T, string)      // gets the text of a cell that was read by quick; may be nil
	number bool                  // its cells are decimal numbers
	needed bool
}

// Needed marks a column without which a row says nothing.
func (c Column[T]) Needed() Column[T] {
	c.needed = true
	return c
}

// Checked refuses a cell whose text is not as it should be; want says what that is.
func (c Column[T]) Checked(good func(text string) bool, want string) Column[T] {
	set := c.set
	c.set = func(x *T, cell *Cell) {
		if !good(cell.Text) {
			cell.Fail(want)
			return
		}
		set(x, cell)
	}
	return c
}

// Text is a column of any text.
func Text[T any, S ~string](name string, at func(*T) *S) Column[T] {
	return Column[T]{
		name: name,
		get:  func(x *T) string { return string(*at(x)) },
		set:  func(x *T, c *Cell) { *at(x) = S(c.Text) },
	}
}

// Passed is a column of which a value says nothing, for readers of the text alone.
func Passed[T any](name string) Column[T] {
	return Column[T]{name: name, get: func(*T) string { return "" }, set: func(*T, *Cell) {}}
}

// Word is a column of one of some words.
func Word[T any, S ~string](name string, at func(*T) *S, known []S) Column[T] {
	names := make([]string, len(known))
	for i, k := range known {
		names[i] = string(k)
	}
	want := "one of " + strings.Join(names, ", ")
	return Column[T]{
		name: name,
		get:  func(x *T) string { return string(*at(x)) },
		set: func(x *T, c *Cell) {
			text := strings.TrimSpace(c.Text)
			*at(x) = ""
			for _, k := range known {
				if text == string(k) {
					*at(x) = k
					return
				}
			}
			if text != "" {
				c.Fail(want)
			}
		},
	}
}

// stampLayout is RFC 3339 to the millisecond.
const stampLayout = "2006-01-02T15:04:05.000Z07:00"

// Time is a column of times; the zero time is an empty cell. Times are written in UTC.
func Time[T any](name string, at func(*T) *time.Time) Column[T] {
	return Column[T]{
		name: name,
		get: func(x *T) string {
			if at(x).IsZero() {
				return ""
			}
			return at(x).UTC().Format(stampLayout)
		},
		set: func(x *T, c *Cell) {
			text := strings.TrimSpace(c.Text)
			*at(x) = time.Time{}
			if text == "" {
				return
			}
			t, err := time.Parse(time.RFC3339, text)
			if year := t.UTC().Year(); err != nil || year < 0 || year > 9999 {
				c.Fail("a time such as 2025-03-03T08:49:54.870Z")
			}
			*at(x) = t
		},
		quick: func(x *T, text []byte) (ok bool) {
			*at(x), ok = quickTime(text)
			return ok
		},
	}
}

// Count is a column of whole numbers from 1 to high; 0 is an empty cell.
func Count[T any](name string, at func(*T) *int, high int) Column[T] {
	want := fmt.Sprintf("a whole number from 1 to %d", high)
	if high == math.MaxInt {
		want = "a whole number from 1"
	}
	return Column[T]{
		name: name,
		get: func(x *T) string {
			if *at(x) == 0 {
				return ""
			}
			return strconv.Itoa(*at(x))
		},
		set: func(x *T, c *Cell) {
			text := strings.TrimSpace(c.Text)
			*at(x) = 0
			if text == "" {
				return
			}
			n, err := strconv.Atoi(text)
			if err != nil || n < 1 || n > high {
				c.Fail(want)
				return
			}
			*at(x) = n
		},
		quick: func(x *T, text []byte) bool {
			n, ok := quickWhole(text)
			*at(x) = int(n)
			return ok && n >= 1 && n <= uint64(high)
		},
	}
}

// Sequence is a column of sequence numbers. has tells whether there is one; where it
// is nil there always is.
func Sequence[T any](name string, at func(*T) *uint32, has func(*T) *bool) Column[T] {
	put := func(x *T, n uint32, there bool) {
		*at(x) = n
		if has != nil {
			*has(x) = there
		}
	}
	return Column[T]{
		name: name,
		get: func(x *T) string {
			if has != nil && !*has(x) {
				return ""
			}
			return strconv.FormatUint(uint64(*at(x)), 10)
		},
		set: func(x *T, c *Cell) {
			text := strings.TrimSpace(c.Text)
			put(x, 0, false)
			if text == "" {
				return
			}
			n, err := strconv.ParseUint(text, 10, 32)
			if err != nil {
				c.err = nil // what names a row is told before what else is wrong with it
				c.Fail("a whole number from 0 to 4294967295")
				return
			}
			put(x, uint32(n), true)
		},
		quick: func(x *T, text []byte) bool {
			n, ok := quickWhole(text)
			put(x, uint32(n), true)
			return ok && n <= math.MaxUint32
		},
	}
}

// Format says which numbers a column has and how they are written.
type Format struct {
	Low       float64 // the least number; that of a number of either sign is -Inf
	Few, Most int     // decimals: as many as the number needs, from Few to Most
	Zero      string  // how 0 is written, where that is otherwise
}

// When is a column that is empty in rows of which has is false.
func (c Column[T]) When(has func(*T) bool) Column[T] {
	get := c.get
	c.get = func(x *T) string {
		if !has(x) {
			return ""
		}
		return get(x)
	}
	return c
}

// Number is a column of decimal numbers; NaN is an empty cell.
func Number[T any](name string, at func(*T) *float64, f Format) Column[T] {
	want := strconv.FormatFloat(f.Low, 'f', -1, 64) + " or more"
	return Column[T]{
		name:   name,
		number: true,
		get: func(x *T) string {
			if v := *at(x); v != 0 || f.Zero == "" {
				return Decimal(v, f.Few, f.Most)
			}
			return f.Zero
		},
		set: func(x *T, c *Cell) {
			v := math.NaN()
			if text := strings.TrimSpace(c.Text); text != "" {
				var err error
				v, err = strconv.ParseFloat(text, 64)
				switch {
				case err != nil || strings.ContainsAny(text, "xXpP_nN"): // hexadecimal, NaN and Inf are not decimal
					c.Fail("a number")
				case v < f.Low:
					c.Fail(want)
				}
			}
			*at(x) = v
		},
		quick: func(x *T, text []byte) bool {
			v, ok := quickDecimal(text)
			*at(x) = v
			return ok && v >= f.Low
		},
	}
}

// Decimal writes v with low to high decimals, as many as it needs; NaN is empty.
func Decimal(v float64, low, high int) string {
	if math.IsNaN(v) {
		return ""
	}
	s := strconv.FormatFloat(v, 'f', high, 64)
	for range high - low {
		if !strings.HasSuffix(s, "0") {
			break
		}
		s = s[:len(s)-1]
	}
	s = strings.TrimSuffix(s, ".")
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}
