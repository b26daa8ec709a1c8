package record

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record/pack"
)

// standOf opens a file with some text.
func standOf(t *testing.T, text string) *Stand {
	t.Helper()
	path := filepath.Join(t.TempDir(), "readings.csv")
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	s, err := OpenStand(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// longText is a readings file of some blocks, with empty lines and cells of two lines.
func longText() string {
	var b strings.Builder
	b.WriteString("\ufeffstring,core_mm,pole_height_mm,string_height_mm,rms_mv,note\r\n")
	for i := 0; b.Len() < 3*standBlockSize; i++ {
		fmt.Fprintf(&b, "%d,0.25,1,4,%d,%s\r\n", i%6+1, i+1, []string{"", "\"two\r\nlines\"", "x\n"}[i%3])
	}
	return b.String()
}

// The rows after a reach, and those before it, are those of the whole file, lines and all.
func TestRowsAfterAReach(t *testing.T) {
	text := longText()
	s := standOf(t, text)
	all, err := Sift(s.Readings(), nil)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(1, 2))
	for range 30 {
		n := r.IntN(len(text))
		n += strings.Index(text[n:], "\r\n") + 2
		if strings.Count(text[:n], `"`)%2 == 1 {
			continue // within a row
		}
		reach, ok := s.Reach(int64(n))
		if !ok {
			t.Fatalf("no reach of %d bytes", n)
		}
		before, err1 := Sift(standOf(t, text[:n]).Readings(), nil)
		after, err2 := Sift(s.After(reach), nil)
		if got := append(before, after...); err1 != nil || err2 != nil || fmt.Sprint(got) != fmt.Sprint(all) {
			t.Fatalf("%d bytes: got %d rows and %d, want %d; %v, %v", n, len(before), len(after), len(all), err1, err2)
		}
	}
}

// A file has another's reach as long as it begins with the same bytes.
func TestReachTellsEveryByte(t *testing.T) {
	text := longText()
	n := strings.LastIndex(text[:5*standBlockSize/2], "\n") + 1
	reach, ok := standOf(t, text[:n]).Reach(int64(n))
	if grown, also := standOf(t, text).Reach(int64(n)); !ok || !also || grown != reach {
		t.Errorf("a file that has grown has reach %v, not %v", grown, reach)
	}
	r := rand.New(rand.NewPCG(3, 4))
	for range 40 {
		other := []byte(text)
		other[r.IntN(n)] ^= 1 << r.IntN(8)
		if got, _ := standOf(t, string(other)).Reach(int64(n)); got == reach {
			t.Fatal("a byte is another, and the reach the same")
		}
	}
	w := pack.Write()
	reach.Pack(w)
	var back Reach
	if back.Pack(pack.Read(w.Bytes())); back != reach {
		t.Errorf("got %v back, not %v", back, reach)
	}
}

func TestNoReach(t *testing.T) {
	row := "1,0.25,1,4,9\n"
	for what, text := range map[string]string{
		"nothing":            "",
		"a torn line":        "string,core_mm,pole_height_mm,string_height_mm,rms_mv\n" + strings.TrimSpace(row),
		"a quoted header":    "string,core_mm,pole_height_mm,string_height_mm,\"rms_mv\"\n" + row,
		"an empty line":      "\nstring,core_mm,pole_height_mm,string_height_mm,rms_mv\n" + row,
		"no end of a header": strings.Repeat("x", standBlockSize) + "\n" + row,
	} {
		s := standOf(t, text)
		if r, ok := s.Reach(s.Size()); ok {
			t.Errorf("%s: got reach %v", what, r)
		}
	}
	if _, ok := standOf(t, row).Reach(100); ok {
		t.Error("a file has a reach beyond its end")
	}
}

func TestWrittenMeanwhile(t *testing.T) {
	s := standOf(t, "string\n")
	if !s.Unchanged() {
		t.Error("a file at rest counts as changed")
	}
	if err := os.Chtimes(s.path, time.Now(), time.Now().Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if s.Unchanged() {
		t.Error("a file that was written to counts as unchanged")
	}
}

// What a standing met, and was written and read back, is met no second time.
func TestStandingGoesOn(t *testing.T) {
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 9))
		rows := make([]Reading, 60)
		for i := range rows {
			rows[i] = named(uint32(r.IntN(20)), []Status{OK, OK, Clipped, Retracted}[r.IntN(4)])
			rows[i].Boot = []string{"0000000A", "0000000B", ""}[r.IntN(3)]
		}
		var s Standing
		refs, whys := make([]Ref, len(rows)), make([]Reason, len(rows))
		cut := r.IntN(len(rows))
		var whole Standing
		for i := range rows {
			if i == cut {
				s = again(t, &s, refs[:cut])
			}
			refs[i], whys[i] = s.Meet(&rows[i])
			if ref, why := whole.Meet(&rows[i]); ref != refs[i] || why != whys[i] {
				t.Fatalf("seed %d, row %d: got %v, %q, want %v, %q", seed, i, refs[i], whys[i], ref, why)
			}
		}
		for i, ref := range refs {
			if s.IsTakenBack(ref) != whole.IsTakenBack(ref) {
				t.Fatalf("seed %d, row %d: got taken back %v", seed, i, s.IsTakenBack(ref))
			}
		}
		s.last, whole.last, s.newest, whole.newest = powerUp{}, powerUp{}, nil, nil
		if !reflect.DeepEqual(s, whole) {
			t.Fatalf("seed %d: got %+v, want %+v", seed, s, whole)
		}
	}
}

// again is a standing that was written and read, with rows that it met.
func again(t *testing.T, s *Standing, refs []Ref) (back Standing) {
	t.Helper()
	w := pack.Write()
	s.Pack(w)
	for i := range refs {
		s.PackRef(w, &refs[i])
	}
	r := pack.Read(w.Bytes())
	back.Pack(r)
	for _, want := range refs {
		var ref Ref
		if back.PackRef(r, &ref); ref != want {
			t.Fatalf("got %v back, want %v", ref, want)
		}
	}
	if r.Damaged() {
		t.Fatal("what was written is called damaged")
	}
	w2 := pack.Write()
	if back.Pack(w2); !bytes.HasPrefix(w.Bytes(), w2.Bytes()) {
		t.Fatal("what was read is written otherwise")
	}
	return back
}
