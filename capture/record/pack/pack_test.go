package pack

import (
	"math"
	"reflect"
	"testing"
)

type thing struct {
	whole  int
	small  int32
	number uint32
	float  float64
	yes    bool
	text   string
	list   []thing
}

func (x *thing) pack(c *Coder) {
	Whole(c, &x.whole)
	Whole(c, &x.small)
	Whole(c, &x.number)
	c.Float(&x.float)
	c.Bool(&x.yes)
	Text(c, &x.text)
	List(c, &x.list, func(y *thing) { y.pack(c) })
}

func things() thing {
	return thing{math.MinInt, math.MaxInt32, math.MaxUint32, math.Inf(-1), true, "é\x00", []thing{{float: -0.5, text: "a"}, {whole: math.MaxInt, list: []thing{{}}}}}
}

func TestPackAndBack(t *testing.T) {
	want := things()
	w := Write()
	want.pack(w)
	var got thing
	r := Read(w.Bytes())
	got.pack(r)
	if r.Damaged() || len(r.Bytes()) > 0 || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, damaged %v, %d bytes left, want %+v", got, r.Damaged(), len(r.Bytes()), want)
	}
}

// Whatever is cut off is missed.
func TestCutOff(t *testing.T) {
	x := things()
	w := Write()
	x.pack(w)
	for n := range w.Bytes() {
		var got thing
		r := Read(w.Bytes()[:n])
		if got.pack(r); !r.Damaged() {
			t.Errorf("%d of %d bytes are read as %+v", n, len(w.Bytes()), got)
		}
	}
}

// What another type wrote is refused: a number that is too large, a length that cannot be.
func TestRefused(t *testing.T) {
	write := func(numbers ...int) []byte {
		w := Write()
		for _, n := range numbers {
			Whole(w, &n)
		}
		return w.Bytes()
	}
	for what, read := range map[string]func(c *Coder){
		"a number":      func(c *Coder) { var n int32; Whole(c, &n) },
		"no yes or no":  func(c *Coder) { var b bool; c.Bool(&b) },
		"a long text":   func(c *Coder) { var s string; Text(c, &s) },
		"a long list":   func(c *Coder) { var l []int; List(c, &l, func(n *int) { Whole(c, n) }) },
		"what is wrong": func(c *Coder) { c.Check(false) },
	} {
		for _, n := range []int{1 << 40, -1 << 40} {
			c := Read(write(n, 0, 0))
			if read(c); !c.Damaged() {
				t.Errorf("%s: %d is taken", what, n)
			}
			rest := 7
			if Whole(c, &rest); rest != 0 {
				t.Errorf("%s: got %d after it", what, rest)
			}
		}
	}
}

// A list of few bytes takes little memory, however long it says that it is.
func TestLongListOfNothing(t *testing.T) {
	n := 1 << 20
	w := Write()
	Whole(w, &n)
	bytes := append(w.Bytes(), make([]byte, n)...)
	for i := range bytes[len(w.Bytes()):] {
		bytes[len(w.Bytes())+i] = 0xff // no number ends
	}
	var list []thing
	allocs := testing.AllocsPerRun(1, func() {
		c := Read(bytes)
		List(c, &list, func(x *thing) { x.pack(c) })
	})
	if list != nil || allocs > 100 {
		t.Errorf("got %d values in %g pieces of memory", len(list), allocs)
	}
}
