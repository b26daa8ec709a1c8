package profiles

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// Sprintf is fmt.Sprintf for people: what rounds to zero has no minus sign, so that -0.004
// is "+0.00" by "%+.2f" and "0.00" by "%.2f".
func Sprintf(format string, args ...any) string {
	withoutNegativeZero(args)
	return fmt.Sprintf(format, args...)
}

// Fprintf is fmt.Fprintf likewise.
func Fprintf(w io.Writer, format string, args ...any) (int, error) {
	withoutNegativeZero(args)
	return fmt.Fprintf(w, format, args...)
}

// Shortest writes a number for a file, to so many decimals but for the zeros at their end; zero
// has no minus sign.
func Shortest(x float64, decimals int) string {
	return strconv.FormatFloat(Rounded(x, decimals), 'f', -1, 64)
}

// Rounded is a number of so many decimals, and never the zero that is printed with a minus sign.
func Rounded(x float64, decimals int) float64 {
	p := math.Pow10(decimals)
	return math.Round(x*p)/p + 0
}

// withoutNegativeZero replaces numbers in place, by which go vet still knows the functions
// above for such as print by a format.
func withoutNegativeZero(args []any) {
	for i, a := range args {
		if v, ok := a.(float64); ok {
			args[i] = figure(v)
		}
	}
}

// figure is a number that is printed without a minus where its digits are all zero.
type figure float64

func (f figure) Format(s fmt.State, verb rune) {
	format := fmt.FormatString(s, verb)
	text := fmt.Sprintf(format, float64(f))
	if strings.Contains(text, "-") && strings.Trim(text, " +-0.") == "" {
		text = fmt.Sprintf(format, 0.0)
	}
	io.WriteString(s, text)
}
