package sharetest

import (
	"context"
	"errors"
	"iter"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/share"
)

// Carrier tests what every carrier has to do. open makes a new shared record that admits
// north and south, and returns how each of them reaches it.
func Carrier(t *testing.T, open func(t *testing.T) func(bench string) share.Carrier) {
	t.Run("pushes and pulls", func(t *testing.T) { pushesAndPulls(t, open(t)) })
	t.Run("the same push twice", func(t *testing.T) { samePushTwice(t, open(t)) })
	t.Run("cut short anywhere", func(t *testing.T) { cutShort(t, open(t)) })
	t.Run("retractions, amendments and new seals", func(t *testing.T) { retractions(t, open(t)) })
	t.Run("documents change and go", func(t *testing.T) { documents(t, open(t)) })
	t.Run("an own row that was altered", func(t *testing.T) { alteredHere(t, open(t)) })
	t.Run("two shops under one name", func(t *testing.T) { twoShops(t, open(t)) })
	t.Run("a copy that was cut", func(t *testing.T) { cutCopy(t, open(t)) })
}

func exchange(t *testing.T, b *share.Bench, c share.Carrier) *share.Report {
	t.Helper()
	r, err := b.Exchange(context.Background(), c)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range r.Faults {
		t.Errorf("fault: %v", f)
	}
	return r
}

var copiedFiles = []string{record.ReadingsFile, record.FieldsFile, record.SessionsFile, record.ReadingSealsFile, record.FieldSealsFile}

func pushesAndPulls(t *testing.T, reach func(string) share.Carrier) {
	a, b := Shop(t, "north", 25), Shop(t, "south", 30)
	north, south := Join(t, a, "north", ""), Join(t, b, "south", "")
	beforeA, beforeB := Own(t, a.Dir()), Own(t, b.Dir())
	exchange(t, north, reach("north"))
	exchange(t, south, reach("south"))
	st, err := north.Status(context.Background(), reach("north"))
	if err != nil {
		t.Fatal(err)
	}
	if st.Ahead != 0 || st.Behind == 0 {
		t.Errorf("north is %d ahead and %d behind before it pulls", st.Ahead, st.Behind)
	}
	exchange(t, north, reach("north"))
	for _, file := range copiedFiles {
		SameRows(t, a.Dir(), b.Dir(), "north", file)
		SameRows(t, b.Dir(), a.Dir(), "south", file)
	}
	for _, file := range []string{"mounts/T.toml", "orders/north.toml"} {
		SameRows(t, a.Dir(), b.Dir(), "north", filepath.FromSlash(file))
	}
	audit, err := record.Verify(context.Background(), filepath.Join(b.Dir(), "shared", "benches", "north"), func(record.Finding) {})
	if err != nil || audit.Faults > 0 {
		t.Errorf("the copy has %d faults, %v", audit.Faults, err)
	}
	if after := Own(t, a.Dir()); !maps.Equal(beforeA, after) {
		t.Errorf("north's own files were touched")
	}
	if after := Own(t, b.Dir()); !maps.Equal(beforeB, after) {
		t.Errorf("south's own files were touched")
	}
	if st, err = north.Status(context.Background(), reach("north")); err != nil || st.Ahead+st.Behind != 0 {
		t.Errorf("north is %d ahead and %d behind, %v", st.Ahead, st.Behind, err)
	}
	x, err := north.Verify(context.Background(), reach("north"))
	if err != nil || len(x.Faults) > 0 || x.Entries < 100 {
		t.Errorf("verified %d entries, faults %v, %v", x.Entries, x.Faults, err)
	}
}

func samePushTwice(t *testing.T, reach func(string) share.Carrier) {
	a := Shop(t, "north", 12)
	north := Join(t, a, "north", "")
	first := exchange(t, north, reach("north"))
	if len(first.Pushed) < 5 {
		t.Errorf("pushed %v", first.Pushed)
	}
	if again := exchange(t, north, reach("north")); len(again.Pushed) > 0 {
		t.Errorf("pushed again: %v", again.Pushed)
	}
	c := reach("north")
	var all []share.Entry
	for e, err := range c.Read(context.Background(), "north", share.Readings, 0) {
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, e)
	}
	if err := c.Append(context.Background(), "north", all); err != nil {
		t.Error(err)
	}
	n := 0
	for range c.Read(context.Background(), "north", share.Readings, 0) {
		n++
	}
	if len(all) != 12 || n != 12 {
		t.Errorf("%d readings, then %d", len(all), n)
	}
}

// failing is a carrier whose connection is lost after so many entries.
type failing struct {
	share.Carrier
	left int
}

var errLost = errors.New("the connection was lost")

func (f *failing) Append(ctx context.Context, bench string, entries []share.Entry) error {
	if f.left < len(entries) {
		some := entries[:f.left]
		f.left = 0
		return errors.Join(f.Carrier.Append(ctx, bench, some), errLost)
	}
	f.left -= len(entries)
	return f.Carrier.Append(ctx, bench, entries)
}

func (f *failing) Read(ctx context.Context, bench string, s share.Stream, after int64) iter.Seq2[share.Entry, error] {
	return func(yield func(share.Entry, error) bool) {
		for e, err := range f.Carrier.Read(ctx, bench, s, after) {
			if f.left == 0 {
				yield(share.Entry{}, errLost)
				return
			}
			f.left--
			if !yield(e, err) {
				return
			}
		}
	}
}

// cutShort loses the connection after one entry, two entries and so on, in push and pull.
func cutShort(t *testing.T, reach func(string) share.Carrier) {
	a, b := Shop(t, "north", 7), Shop(t, "south", 3)
	north, south := Join(t, a, "north", ""), Join(t, b, "south", "")
	for _, x := range []*share.Bench{north, south} {
		for left := 1; ; left++ {
			r, err := x.Exchange(context.Background(), &failing{reach(x.Bench), left})
			if err == nil {
				break
			}
			if !errors.Is(err, errLost) || len(r.Faults) > 0 {
				t.Fatalf("%v, faults %v", err, r.Faults)
			}
			if left > 1000 {
				t.Fatal("it never comes to its end")
			}
		}
	}
	exchange(t, north, reach("north"))
	exchange(t, south, reach("south"))
	for _, file := range copiedFiles {
		SameRows(t, a.Dir(), b.Dir(), "north", file)
		SameRows(t, b.Dir(), a.Dir(), "south", file)
	}
}

func retractions(t *testing.T, reach func(string) share.Carrier) {
	a, b := Shop(t, "north", 5), Shop(t, "south", 1)
	north, south := Join(t, a, "north", ""), Join(t, b, "south", "")
	exchange(t, north, reach("north"))
	exchange(t, south, reach("south"))
	back := Row("north", 2)
	back.Status, back.Note = record.Retracted, "hit the pole, \"twice\"\nand =1+1"
	Add(t, a.Dir(), back, Row("north", 6))
	reseal(t, a.Dir())
	Add(t, a.Dir(), Row("north", 7))
	exchange(t, north, reach("north"))
	exchange(t, south, reach("south"))
	for _, file := range copiedFiles {
		SameRows(t, a.Dir(), b.Dir(), "north", file)
	}
	copied := filepath.Join(b.Dir(), "shared", "benches", "north")
	audit, err := record.Verify(context.Background(), copied, func(record.Finding) {})
	if err != nil || audit.Faults > 0 {
		t.Errorf("the copy has %d faults, %v", audit.Faults, err)
	}
	reseal(t, a.Dir())
	exchange(t, north, reach("north"))
	exchange(t, south, reach("south"))
	SameRows(t, a.Dir(), b.Dir(), "north", record.ReadingSealsFile)
}

func reseal(t *testing.T, dir string) {
	t.Helper()
	w, err := record.OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Seal(time.Now()); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

func documents(t *testing.T, reach func(string) share.Carrier) {
	a, b := Shop(t, "north", 1), Shop(t, "south", 1)
	north, south := Join(t, a, "north", ""), Join(t, b, "south", "")
	path := filepath.Join("calibrations", "jig-2026-03-02.toml")
	copied := filepath.Join(b.Dir(), "shared", "benches", "north", path)
	for _, text := range []string{"gain = 1\n", "gain = 2\r\n# ü \"\\\n", ""} {
		if text == "" {
			if err := os.Remove(filepath.Join(a.Dir(), path)); err != nil {
				t.Fatal(err)
			}
		} else {
			write(t, filepath.Join(a.Dir(), path), text)
		}
		exchange(t, north, reach("north"))
		exchange(t, south, reach("south"))
		got, err := os.ReadFile(copied)
		if string(got) != text || text == "" && !errors.Is(err, os.ErrNotExist) {
			t.Errorf("the copy says %q, %v; want %q", got, err, text)
		}
	}
}

func alteredHere(t *testing.T, reach func(string) share.Carrier) {
	a := Shop(t, "north", 9)
	north := Join(t, a, "north", "")
	exchange(t, north, reach("north"))
	path := filepath.Join(a.Dir(), record.ReadingsFile)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	write(t, path, strings.Replace(string(text), "20.040", "20.140", 1))
	_, err = north.Exchange(context.Background(), reach("north"))
	var diverged *share.DivergedError
	if !errors.As(err, &diverged) || diverged.Stream != share.Readings || diverged.N != 4 || diverged.Gone {
		t.Errorf("an altered row: %v", err)
	}
	lines := strings.SplitAfter(string(text), "\n")
	write(t, path, strings.Join(lines[:8], ""))
	_, err = north.Exchange(context.Background(), reach("north"))
	if !errors.As(err, &diverged) || diverged.N != 8 || !diverged.Gone {
		t.Errorf("rows that are gone: %v", err)
	}
	write(t, path, string(text))
	Add(t, a.Dir(), Row("north", 10))
	exchange(t, north, reach("north"))
}

func twoShops(t *testing.T, reach func(string) share.Carrier) {
	a, b := Shop(t, "north", 2), Shop(t, "north", 2)
	exchange(t, Join(t, a, "north", ""), reach("north"))
	_, err := Join(t, b, "north", "").Exchange(context.Background(), reach("north"))
	var diverged *share.DivergedError
	if !errors.As(err, &diverged) || !strings.Contains(err.Error(), "another shop") {
		t.Errorf("a second shop of one name: %v", err)
	}
}

// cutCopy is a copy of which a crash left part of a row.
func cutCopy(t *testing.T, reach func(string) share.Carrier) {
	a, b := Shop(t, "north", 6), Shop(t, "south", 1)
	north, south := Join(t, a, "north", ""), Join(t, b, "south", "")
	note := Row("north", 7)
	note.Note = "two\nlines"
	Add(t, a.Dir(), note)
	exchange(t, north, reach("north"))
	exchange(t, south, reach("south"))
	copied := filepath.Join(b.Dir(), "shared", "benches", "north")
	for _, file := range append(copiedFiles, "documents.jsonl") {
		path := filepath.Join(copied, file)
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, size := range []int{len(whole) - 1, len(whole) - 5, len(whole) - 40, 20, 0} {
			if err := os.Truncate(path, int64(max(size, 0))); err != nil {
				t.Fatal(err)
			}
			exchange(t, south, reach("south"))
			if file != "documents.jsonl" {
				SameRows(t, a.Dir(), b.Dir(), "north", file)
				continue
			}
			if again, err := os.ReadFile(path); err != nil || string(again) != string(whole) {
				t.Errorf("%s cut to %d bytes: %q, %v", file, size, again, err)
			}
		}
	}
}
