package table

import "time"

// powersOfTen are those that a float64 has exactly.
var powersOfTen = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// quickDecimal reads a number of at most 15 digits, with or without a sign and a point.
// Both its digits and the power of ten by which they are divided are exact, and so the
// quotient is the nearest float64, as strconv.ParseFloat has it (W. D. Clinger, How to
// read floating point numbers accurately, PLDI 1990). ok is false for any other text.
func quickDecimal(text []byte) (v float64, ok bool) {
	digits := text
	negative := len(text) > 0 && text[0] == '-'
	if negative {
		digits = text[1:]
	}
	if len(digits) > 16 {
		return 0, false
	}
	var n uint64
	count, decimals := 0, -1
	for _, c := range digits {
		switch {
		case c-'0' <= 9:
			n = 10*n + uint64(c-'0')
			count++
			if decimals >= 0 {
				decimals++
			}
		case c == '.' && decimals < 0:
			decimals = 0
		default:
			return 0, false
		}
	}
	if count == 0 || count > 15 {
		return 0, false
	}
	v = float64(n) / powersOfTen[max(decimals, 0)]
	if negative {
		v = -v
	}
	return v, true
}

// quickWhole reads a whole number of at most 18 digits without a sign.
func quickWhole(text []byte) (n uint64, ok bool) {
	if len(text) == 0 || len(text) > 18 {
		return 0, false
	}
	for _, c := range text {
		if c-'0' > 9 {
			return 0, false
		}
		n = 10*n + uint64(c-'0')
	}
	return n, true
}

// quickTime reads a time of UTC as the record has it, with three decimals of a second
// or none: 2025-03-03T08:49:54.870Z.
func quickTime(text []byte) (t time.Time, ok bool) {
	const whole, milli = len("2006-01-02T15:04:05Z"), len("2006-01-02T15:04:05.000Z")
	if len(text) != whole && len(text) != milli || text[len(text)-1] != 'Z' ||
		text[4] != '-' || text[7] != '-' || text[10] != 'T' || text[13] != ':' || text[16] != ':' {
		return t, false
	}
	ok = true
	part := func(from, to int) int {
		n, is := quickWhole(text[from:to])
		ok = ok && is
		return int(n)
	}
	ms := 0
	if len(text) == milli {
		ok = text[19] == '.'
		ms = part(20, 23)
	}
	year, month, day := part(0, 4), part(5, 7), part(8, 10)
	hour, minute, second := part(11, 13), part(14, 16), part(17, 19)
	if !ok || month < 1 || month > 12 || day < 1 || day > 28 && day > daysIn(year, month) || hour > 23 || minute > 59 || second > 59 {
		return t, false
	}
	return time.Date(year, time.Month(month), day, hour, minute, second, ms*1e6, time.UTC), true
}

// daysIn is the length of a month.
func daysIn(year, month int) int {
	return time.Date(year, time.Month(month+1), 0, 0, 0, 0, 0, time.UTC).Day()
}
