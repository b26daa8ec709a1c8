package table

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/iotest"
	"time"
)

// kinds has a column of each kind.
type kinds struct {
	When   time.Time
	Text   string
	Word   string
	N      int
	Seq    uint32
	HasSeq bool
	X, Y   float64
	Line   int
}

var kindColumns = New(
	Time("when", func(x *kinds) *time.Time { return &x.When }),
	Text("text", func(x *kinds) *string { return &x.Text }).Checked(func(s string) bool { return !strings.Contains(s, "!") }, "no !"),
	Word("word", func(x *kinds) *string { return &x.Word }, []string{"ok", "bad"}),
	Count("n", func(x *kinds) *int { return &x.N }, 12),
	Sequence("seq", func(x *kinds) *uint32 { return &x.Seq }, func(x *kinds) *bool { return &x.HasSeq }),
	Number("x", func(x *kinds) *float64 { return &x.X }, Format{}),
	Number("y", func(x *kinds) *float64 { return &x.Y }, Format{Low: math.Inf(-1)}),
).Finish(func(x *kinds, c *Cells) {
	x.Line = c.Line
	if x.Text == "unfinished" {
		c.Fail("text", "another text")
	}
})

// result is all that reading a file gives, as text: rows, errors, and the bits of numbers.
func result(r io.Reader, size int) string {
	var out strings.Builder
	for x, err := range read(r, "f.csv", kindColumns, []string{"x"}, size) {
		fmt.Fprintf(&out, "%v %q %q %d %d %t %x %x %d", x.When, x.Text, x.Word, x.N, x.Seq, x.HasSeq, math.Float64bits(x.X), math.Float64bits(x.Y), x.Line)
		row := (*RowError)(nil)
		fmt.Fprintf(&out, " %v %t\n", err, errors.As(err, &row))
	}
	return out.String()
}

// compare reads a file plainly and by blocks of several sizes.
func compare(t *testing.T, text []byte) {
	t.Helper()
	want := result(bytes.NewReader(text), len(text)+1)
	for _, size := range []int{1, 16, 61, 1 << 10} {
		if got := result(bytes.NewReader(text), size); got != want {
			t.Fatalf("blocks of %d bytes of\n%q\ngive\n%s\nand the plain reader\n%s", size, text, got, want)
		}
	}
}

// What cells say in the file that random makes: usual, unusual, and wrong.
var (
	whens   = []string{"2025-03-03T08:49:54.870Z", "2025-03-03T08:49:54Z", "2024-02-29T23:59:59.999Z", "2025-03-03T08:49:54.8701Z", "2025-03-03T09:49:54+01:00", " 2025-03-03T08:49:54Z ", "0000-01-01T00:00:00Z"}
	numbers = []string{"0", "1", "0.431", "14.504", "-1.5", "-0", "1e3", " 2.5", "+3", ".5", "5.", "0.1", "123456789012345", "1234567890123456", "0.1234567890123456", "9007199254740993", "0000000000000000000001", "1_0", "'-2.5", "'+1", "'7"}
	wholes  = []string{"1", "2", "12", " 3", "+4", "007"}
	texts   = []string{"a", "b", "P1", `"a"`, `"a,b"`, `"say ""yes"""`, "\"two\nlines\"", "\"two\r\nlines\"", "é", "a\rb", `""`, "'=1+1", "''-2", "'old'", "\"'=a,b\"", "\"'\nb\""}
	faults  = []string{"x", "-", ".", "--1", "0x1p4", "NaN", "Inf", "1.2.3", "13", "0", "-1", "4294967296", "2025-02-29T00:00:00Z", "2025-13-01T00:00:00Z", "2025-03-03T24:00:00Z", "!", "unfinished", "99999999999999999999"}
	astray  = []string{`a"b`, `"a"b`, `"open`, `"`, ",", "\n", `"a"` + "\r", "", strings.Repeat("x", 1100), strings.Repeat(",", 1100), strings.Repeat(";", 1100)}
)

// random makes a file in which, one in so many cells, something is wrong or astray.
func random(r *rand.Rand) []byte {
	pick := func(list []string) string { return list[r.IntN(len(list))] }
	columns := []string{"when", "text", "word", "n", "seq", "x", "y", "other"}
	cells := [][]string{whens, texts, {"ok", "bad", " ok"}, wholes, wholes, {"1.5", "0", "0.25", ".5"}, numbers, texts}
	order := r.Perm(len(columns))[:2+r.IntN(len(columns)-1)]
	wrong, off, same := r.IntN(2)*r.IntN(200), r.IntN(2)*r.IntN(200), r.IntN(5)
	end := []string{"\n", "\r\n"}[r.IntN(2)]
	var b strings.Builder
	if r.IntN(4) == 0 {
		b.WriteString("\ufeff")
	}
	var row []string
	for _, i := range order {
		row = append(row, columns[i])
	}
	if r.IntN(5) > 0 && !strings.Contains(strings.Join(row, ","), "x") {
		row[0] = "x"
	}
	b.WriteString(strings.Join(row, ",") + end)
	for range r.IntN(60) {
		for k, i := range order {
			switch {
			case off > 0 && r.IntN(off+1) == 0:
				row[k] = pick(astray)
			case wrong > 0 && r.IntN(wrong+1) == 0:
				row[k] = pick(faults)
			case r.IntN(8) == 0:
				row[k] = ""
			case r.IntN(same+1) == 0:
				row[k] = pick(cells[i])
			}
		}
		b.WriteString(strings.Join(row, ",") + end)
		if r.IntN(20) == 0 {
			b.WriteString(end)
		}
	}
	text := b.String()
	if r.IntN(4) == 0 {
		text = strings.TrimSuffix(text, end)
	}
	return []byte(text)
}

// However a file is cut into blocks, its rows and errors are those of the plain reader.
func TestBlocksReadAsThePlainReader(t *testing.T) {
	for seed := range uint64(2000) {
		compare(t, random(rand.New(rand.NewPCG(seed, 1))))
	}
}

func FuzzBlocks(f *testing.F) {
	for seed := range uint64(20) {
		f.Add(random(rand.New(rand.NewPCG(seed, 2))))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		if len(text) < 1<<12 {
			compare(t, text)
		}
	})
}

// What goes wrong with the file ends the rows as with the plain reader.
func TestBlocksOfABrokenFile(t *testing.T) {
	text := "x,text\n" + strings.Repeat("1.5,a\n", 50) + "2.5,\"b"
	broken := errors.New("the disk is gone")
	file := func() io.Reader {
		return io.MultiReader(strings.NewReader(text), iotest.ErrReader(broken))
	}
	want := result(file(), 1<<20)
	if !strings.Contains(want, broken.Error()) {
		t.Fatalf("got %s", want)
	}
	if got := result(file(), 32); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// Who wants no more rows ends the reading, and the file may be closed.
func TestBlocksEndWithTheLoop(t *testing.T) {
	e := &endless{text: "1.5,a\n"}
	n := 0
	for range read(io.MultiReader(strings.NewReader("x,text\n"), e), "f.csv", kindColumns, nil, 64) {
		if n++; n == 1000 {
			break
		}
	}
	read := e.n
	time.Sleep(time.Millisecond)
	if e.n != read {
		t.Error("the file was read after the loop")
	}
}

// Numbers are the nearest ones to what a cell says.
func TestQuickDecimalIsNearest(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 100000 {
		text := fmt.Sprintf("%.*f", r.IntN(8), math.Exp(20*r.Float64()-6)*(r.Float64()-0.5))
		v, ok := quickDecimal([]byte(text))
		var want float64
		fmt.Sscan(text, &want)
		if ok && math.Float64bits(v) != math.Float64bits(want) {
			t.Fatalf("%s: got %v, want %v", text, v, want)
		}
		if digits := strings.Trim(text, "-."); !ok && len(digits) < 15 {
			t.Fatalf("%s was not read", text)
		}
	}
}

// However long the blocks are that are gone over, the same line is torn.
func TestTornLineBehindBlocks(t *testing.T) {
	for seed := range uint64(3000) {
		r := rand.New(rand.NewPCG(seed, 6))
		text := random(r)
		text = text[:len(text)-r.IntN(min(len(text), 40))]
		torn := func(size int) string {
			whole, line, err := findTorn(bytes.NewReader(text), "f.csv", []string{"x"}, size)
			return fmt.Sprintf("%d %q %v", whole, line, err)
		}
		want := torn(0)
		for _, size := range []int{1, 16, 100} {
			if got := torn(size); got != want {
				t.Fatalf("blocks of %d bytes of\n%q\ngive %s, want %s", size, text, got, want)
			}
		}
	}
}
