package record

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// cells turns the text of one row's cells into values. The first cell that is
// wrong is kept in err; an empty cell is never wrong.
type cells struct {
	place func(column string) (file string, line int)
	line  int // on which the row starts
	err   *RowError
}

func (c *cells) fail(column, text, want string) {
	if c.err == nil {
		file, line := c.place(column)
		c.err = &RowError{file, line, column, fmt.Sprintf("expected %s, got %q", want, text)}
	}
}

// number reads a decimal number of at least low; it is NaN when empty.
func (c *cells) number(column, text string, low float64, want string) float64 {
	s := strings.TrimSpace(text)
	if s == "" {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(s, 64)
	switch {
	case err != nil || strings.ContainsAny(s, "xXpP_nN"): // hexadecimal, NaN and Inf are not decimal
		c.fail(column, text, "a number")
		return math.NaN()
	case v < low:
		c.fail(column, text, want)
	}
	return v
}

// any reads a number of either sign.
func (c *cells) any(column, text string) float64 {
	return c.number(column, text, math.Inf(-1), "a number")
}

// level reads what cannot be negative.
func (c *cells) level(column, text string) float64 {
	return c.number(column, text, 0, "0 or more")
}

// size reads a diameter: one that is too small to write down is a mistake too.
func (c *cells) size(column, text string) float64 {
	return c.number(column, text, 0.0001, "0.0001 or more")
}

// count reads a whole number from 1 to high; it is 0 when empty.
func (c *cells) count(column, text string, high int) int {
	s := strings.TrimSpace(text)
	if s == "" {
		return 0
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 || n > high {
		want := fmt.Sprintf("a whole number from 1 to %d", high)
		if high == math.MaxInt {
			want = "a whole number from 1"
		}
		c.fail(column, text, want)
		return 0
	}
	return n
}

// seq reads a sequence number; ok is false when the cell is empty.
func (c *cells) seq(column, text string) (seq uint32, ok bool) {
	s := strings.TrimSpace(text)
	if s == "" {
		return 0, false
	}
	n, err := strconv.ParseUint(s, 10, 32)
	if err != nil {
		c.fail(column, text, "a whole number from 0 to 4294967295")
	}
	return uint32(n), err == nil
}

// stamp reads a time; it is zero when the cell is empty.
func (c *cells) stamp(column, text string) time.Time {
	s := strings.TrimSpace(text)
	if s == "" {
		return time.Time{}
	}
	t, err := time.Parse(time.RFC3339, s)
	if year := t.UTC().Year(); err != nil || year < 0 || year > 9999 {
		c.fail(column, text, "a time such as 2025-03-03T08:49:54.870Z")
	}
	return t
}

// word reads one of some words, or nothing.
func word[T ~string](c *cells, column, text string, known ...T) T {
	w := T(strings.TrimSpace(text))
	if w == "" {
		return w
	}
	names := make([]string, len(known))
	for i, k := range known {
		if w == k {
			return w
		}
		names[i] = string(k)
	}
	c.fail(column, text, "one of "+strings.Join(names, ", "))
	return ""
}

// stampLayout is RFC 3339 to the millisecond.
const stampLayout = "2006-01-02T15:04:05.000Z07:00"

func stampText(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(stampLayout)
}

// decimal writes v with low to high decimals, as many as it needs; NaN is empty.
func decimal(v float64, low, high int) string {
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

// Decimals of what a row holds: levels to the microvolt and frequencies to the
// millihertz that the jig sends; lengths as a caliper tells them.
func levelText(v float64) string  { return decimal(v, 3, 3) }
func heightText(v float64) string { return decimal(v, 2, 4) }
func wireText(v float64) string   { return decimal(v, 4, 4) }
func fieldText(v float64) string  { return decimal(v, 2, 3) }
func wholeText(v float64) string  { return decimal(v, 0, 3) }

func freqText(v float64) string {
	if v == 0 { // a quiet window has none
		return "0"
	}
	return decimal(v, 3, 3)
}

func countText(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

func seqText(seq uint32, has bool) string {
	if !has {
		return ""
	}
	return strconv.FormatUint(uint64(seq), 10)
}
