package table

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// saidOf is what a row says, or what is wrong with it.
func saidOf(x *kinds, line int, bad *RowError) string {
	if bad != nil {
		return fmt.Sprintf("%s: %s", bad.Column, bad.Msg)
	}
	return fmt.Sprintf("%d: %v %q %q %d %d %t %x %x %d", line, x.When, x.Text, x.Word, x.N, x.Seq, x.HasSeq, math.Float64bits(x.X), math.Float64bits(x.Y), x.Line)
}

// valuesAndText is what a file says by a reader of values and one of text.
func valuesAndText(t *testing.T, text []byte) string {
	t.Helper()
	var out strings.Builder
	rows, header := Open(bytes.NewReader(text), "f.csv", kindColumns.Layout, nil)
	for x, err := range read(bytes.NewReader(text), "f.csv", kindColumns, nil, len(text)+1) {
		if header != nil {
			return header.Error()
		}
		cells, plain := rows.Next()
		bad := (*RowError)(nil)
		switch {
		case plain != nil && plain.Error() != err.Error():
			t.Fatalf("of text %v, of values %v", plain, err)
		case plain != nil:
			fmt.Fprintf(&out, "%v\n", err)
		default:
			errors.As(err, &bad)
			fmt.Fprintf(&out, "%q %s\n", cells, saidOf(&x, x.Line, bad))
		}
	}
	return out.String()
}

// What is made of each row in one reading is made of the same values, text and mistakes as
// two readings have, however the file is cut into blocks.
func TestEachHasValuesAndText(t *testing.T) {
	each := Each(kindColumns, func(x *kinds, cells Row, line int, bad *RowError) string {
		if bad != nil && (bad.File != "f.csv" || bad.Line != line) {
			t.Errorf("row of line %d: %v", line, bad)
		}
		return fmt.Sprintf("%q %s\n", cells, saidOf(x, line, bad))
	})
	for seed := range uint64(2000) {
		text := random(rand.New(rand.NewPCG(seed, 7)))
		want := valuesAndText(t, text)
		for _, size := range []int{16, 61, 1 << 10, len(text) + 1} {
			var out strings.Builder
			for k, err := range read(bytes.NewReader(text), "f.csv", each, nil, size) {
				if err != nil {
					fmt.Fprintf(&out, "%v\n", err)
				} else {
					out.WriteString(k.Made)
				}
			}
			if got := strings.TrimSuffix(out.String(), "\n"); got != strings.TrimSuffix(want, "\n") {
				t.Fatalf("blocks of %d bytes of\n%q\ngive\n%s\nand two readings\n%s", size, text, got, want)
			}
		}
	}
}
