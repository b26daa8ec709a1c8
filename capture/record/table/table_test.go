package table

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

// thing is a value with a column of each kind that can be absent.
type thing struct {
	name  string
	size  float64
	count int
	seq   uint32
	has   bool
	line  int
}

var things = New(
	Text("name", func(x *thing) *string { return &x.name }),
	Number("size_mm", func(x *thing) *float64 { return &x.size }, Format{Low: 0.5, Few: 1, Most: 2, Zero: "none"}).Needed(),
	Count("count", func(x *thing) *int { return &x.count }, 9),
	Sequence("seq", func(x *thing) *uint32 { return &x.seq }, func(x *thing) *bool { return &x.has }),
).Finish(func(x *thing, c *Cells) {
	x.line = c.Line
	if x.name == "bad" {
		c.Fail("name", "a good one")
	}
})

func TestLayout(t *testing.T) {
	if !slices.Equal(things.Names, []string{"name", "size_mm", "count", "seq"}) || !slices.Equal(things.Needed, []string{"size_mm"}) {
		t.Errorf("names %q, needed %q", things.Names, things.Needed)
	}
	if !slices.Equal(things.ByName, []int{2, 0, 3, 1}) || !slices.Equal(things.Number, []bool{false, true, false, false}) {
		t.Errorf("by name %v, numbers %v", things.ByName, things.Number)
	}
}

func TestReadAndWrite(t *testing.T) {
	const head = "mine,seq, size_mm ,\u200bname,count\n"
	for _, tt := range []struct{ row, want string }{
		{"x,7,1.25,a,3", `["a" "1.25" "3" "7"] 2`},
		{",0,0.5,,", `["" "0.5" "" "0"] 2`},
		{",,, ,", `[" " "" "" ""] 2`},
		{",,\"\n2\",\"b\n\",", `["b\n" "2.0" "" ""] 2`},
		{",,0,a,10", `t.csv:2: size_mm: expected 0.5 or more, got "0"`},
		{",\"a\nb\",1,a,10", `t.csv:2: seq: expected a whole number from 0 to 4294967295, got "a\nb"`},
		{",\"7\n\",x,a,1", `t.csv:3: size_mm: expected a number, got "x"`},
		{",x,1,bad,10", `t.csv:2: seq: expected a whole number from 0 to 4294967295, got "x"`},
		{",7,1,bad,1", `t.csv:2: name: expected a good one, got "bad"`},
		{",7,1,a", `t.csv:2: expected 5 cells as in the header, got another number`},
	} {
		for x, err := range Read(strings.NewReader(head+tt.row+"\n"), "t.csv", things, things.Needed) {
			got := fmt.Sprintf("%q %d", things.Row(&x), x.line)
			if err != nil {
				got = err.Error()
			}
			if got != tt.want {
				t.Errorf("%q: got %s, expected %s", tt.row, got, tt.want)
			}
			if err != nil && !errors.As(err, new(*RowError)) {
				t.Errorf("%T", err)
			}
		}
	}
}

// A value that a row leaves out is not that of the row before.
func TestRowsStandAlone(t *testing.T) {
	var all []thing
	for x, err := range Read(strings.NewReader("name,size_mm,count,seq\na,1,2,3\n,,,\n"), "t.csv", things, nil) {
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, x)
	}
	if want := (thing{"a", 1, 2, 3, true, 2}); len(all) != 2 || all[0] != want {
		t.Fatalf("%+v", all)
	}
	if x := all[1]; x.name != "" || !math.IsNaN(x.size) || x.count != 0 || x.seq != 0 || x.has || x.line != 3 {
		t.Errorf("%+v", x)
	}
}

func TestZeroMayBeWrittenOtherwise(t *testing.T) {
	if got := things.Row(&thing{}); !slices.Equal(got, Row{"", "none", "", ""}) {
		t.Errorf("got %q", got)
	}
}
