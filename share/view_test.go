package share_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"evenpole/capture/record"
	"evenpole/capture/record/recordtest"
	"evenpole/fit"
	"evenpole/share"
	"evenpole/share/folder"
	"evenpole/share/sharetest"
	"evenpole/shop"
)

// open is a shared record in a folder.
func open(t testing.TB, dir string) share.Carrier {
	t.Helper()
	f, err := folder.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func exchange(t testing.TB, dir string, benches ...*share.Bench) {
	t.Helper()
	for _, b := range benches {
		r, err := b.Exchange(context.Background(), open(t, dir))
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Faults) > 0 {
			t.Fatalf("faults %v", r.Faults)
		}
	}
}

func view(t testing.TB, b *share.Bench) *share.View {
	t.Helper()
	v, err := b.View(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// halves are two benches that have the sample shop's pickups, one half each, under one jig's
// name, one batch and one library of string sets; each has its own sessions s001 and on.
func halves(t testing.TB) (dir string, north, south *share.Bench) {
	t.Helper()
	dir = t.TempDir()
	var of [2][]record.Reading
	for _, r := range recordtest.Sample(t) {
		half := int(r.Pickup[len(r.Pickup)-1]) % 2
		r.Boot = []string{"0000000a", "0000000b"}[half]
		of[half] = append(of[half], r)
	}
	benches := []*share.Bench{}
	for i, name := range []string{"north", "south"} {
		home := filepath.Join(t.TempDir(), name)
		sharetest.Write(t, home, of[i])
		s, err := shop.Open(home)
		if err != nil {
			t.Fatal(err)
		}
		benches = append(benches, sharetest.Join(t, s, name, dir))
	}
	exchange(t, dir, benches[0], benches[1], benches[0])
	return dir, benches[0], benches[1]
}

func modelOf(t testing.TB, f shop.Fitting) []byte {
	t.Helper()
	r, _, err := f.Best(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return written(t, r)
}

func written(t testing.TB, r *fit.Result) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := r.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestAFitFromTheSharedRecord is byte for byte that of the same rows in one file, at every
// bench and from the shared record itself, before names are decided on and after.
func TestAFitFromTheSharedRecord(t *testing.T) {
	dir, north, south := halves(t)
	for _, decided := range []bool{false, true} {
		if decided {
			for _, kind := range []share.Kind{share.Jig, share.Batch} {
				for _, c := range view(t, north).Clashes {
					if c.Kind == kind {
						if _, err := north.Decide(context.Background(), kind, c.Name, nil, share.Same, "one shop"); err != nil {
							t.Fatal(err)
						}
					}
				}
			}
			exchange(t, dir, north, south)
		}
		there, done, err := share.Streamed(context.Background(), open(t, dir))
		if err != nil {
			t.Fatal(err)
		}
		defer done()
		var models [][]byte
		for _, v := range []*share.View{view(t, north), view(t, south), there} {
			source, err := v.Source()
			if err != nil {
				t.Fatal(err)
			}
			models = append(models, modelOf(t, shop.Fitting{Sources: []shop.Source{source}}))
		}
		file := filepath.Join(t.TempDir(), "all.csv")
		var text bytes.Buffer
		rows, err := there.Export(context.Background(), &text, record.ReadingsFile)
		if err != nil || rows != len(recordtest.Sample(t)) {
			t.Fatalf("%d rows, %v", rows, err)
		}
		if err := os.WriteFile(file, text.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		models = append(models, modelOf(t, shop.Fitting{Files: []string{file}}))
		for i, m := range models {
			if !bytes.Equal(m, models[0]) {
				t.Errorf("decided %v: model %d is another one than model 0: %d bytes and %d", decided, i, len(m), len(models[0]))
			}
		}
	}
}

// TestRowsOfTheView have the lines of the file that is exported, and say the same.
func TestRowsOfTheView(t *testing.T) {
	_, north, _ := halves(t)
	v := view(t, north)
	var text bytes.Buffer
	if _, err := v.Export(context.Background(), &text, record.ReadingsFile); err != nil {
		t.Fatal(err)
	}
	var exported []record.Reading
	for r, err := range record.Readings(bytes.NewReader(text.Bytes()), "all.csv") {
		if err != nil {
			t.Fatal(err)
		}
		exported = append(exported, r)
	}
	i := 0
	for r, err := range v.Readings() {
		if err != nil {
			t.Fatal(err)
		}
		if got, want := strings.Join(record.TextOf(&r), ","), strings.Join(record.TextOf(&exported[i]), ","); got != want || r.Line != exported[i].Line {
			t.Fatalf("row %d: line %d: %s\nexported: line %d: %s", i, r.Line, got, exported[i].Line, want)
		}
		i++
	}
	if i != len(exported) || i == 0 {
		t.Errorf("%d rows, %d exported", i, len(exported))
	}
}

// named are what a shop's rows say of names, for tests of those.
type named struct {
	bench, jig, boot, pickup, batch, set string
	core                                 float64
	rms                                  float64
}

func benches(t testing.TB, dir string, rows ...named) map[string]*share.Bench {
	t.Helper()
	of := map[string][]record.Reading{}
	var names []string
	for _, n := range rows {
		r := sharetest.Row(n.bench, uint32(len(of[n.bench])+1))
		r.Jig, r.Boot, r.Pickup, r.Batch, r.StringSet, r.Core, r.Gauge = n.jig, n.boot, n.pickup, n.batch, n.set, n.core, n.core
		r.RMS += n.rms
		if of[n.bench] == nil {
			names = append(names, n.bench)
		}
		of[n.bench] = append(of[n.bench], r)
	}
	out := map[string]*share.Bench{}
	for _, name := range names {
		home := filepath.Join(t.TempDir(), name)
		sharetest.Write(t, home, of[name])
		s, err := shop.Open(home)
		if err != nil {
			t.Fatal(err)
		}
		out[name] = sharetest.Join(t, s, name, dir)
		exchange(t, dir, out[name])
	}
	for _, b := range out {
		exchange(t, dir, b)
	}
	return out
}

// seen are the names that the view's rows have, of each kind.
func seen(t testing.TB, v *share.View) map[share.Kind][]string {
	t.Helper()
	out := map[share.Kind][]string{}
	for r, err := range v.Readings() {
		if err != nil {
			t.Fatal(err)
		}
		for kind, name := range map[share.Kind]string{share.Jig: r.Jig, share.Pickup: r.Pickup, share.Batch: r.Batch, share.StringSet: r.StringSet} {
			out[kind] = append(out[kind], name)
		}
	}
	for kind := range out {
		slices.Sort(out[kind])
		out[kind] = slices.Compact(out[kind])
	}
	return out
}

func kinds(v *share.View) (out []share.Kind) {
	for _, c := range v.Clashes {
		out = append(out, c.Kind)
	}
	return out
}

// TestOneNameForTwoThings: it is found, said, and kept apart until a person decides, at every
// bench alike.
func TestOneNameForTwoThings(t *testing.T) {
	dir := t.TempDir()
	all := benches(t, dir,
		named{"north", "jig-1", "0000000a", "T-1", "gale", "house", 0.254, 0},
		named{"south", "jig-1", "0000000b", "T-1", "gale", "house", 0.279, 0},
		named{"west", "jig-1", "0000000c", "T-2", "fresh", "house", 0.254, 0})
	for _, b := range all {
		v := view(t, b)
		if got, want := kinds(v), []share.Kind{share.Jig, share.Pickup, share.Batch, share.StringSet}; !slices.Equal(got, want) {
			t.Errorf("%s: names in question %v, want %v", b.Bench, got, want)
		}
		want := map[share.Kind][]string{
			share.Jig:       {"jig-1@north", "jig-1@south", "jig-1@west"},
			share.Pickup:    {"T-1@north", "T-1@south", "T-2"},
			share.Batch:     {"fresh", "gale@north", "gale@south"},
			share.StringSet: {"house@north", "house@south"}, // that of west has the strings of north's
		}
		if got := seen(t, v); !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %v, want %v", b.Bench, got, want)
		}
	}
	say := func(bench string, word share.Word, kind share.Kind, name string, of ...string) {
		t.Helper()
		if _, err := all[bench].Decide(context.Background(), kind, name, of, word, ""); err != nil {
			t.Fatal(err)
		}
		exchange(t, dir, all[bench])
		for _, b := range all {
			exchange(t, dir, b)
		}
	}
	say("north", share.Same, share.Pickup, "T-1")
	say("south", share.Apart, share.Batch, "gale")
	say("west", share.Same, share.Jig, "jig-1", "north", "west")
	for _, b := range all {
		v := view(t, b)
		if got, want := kinds(v), []share.Kind{share.Jig, share.StringSet}; !slices.Equal(got, want) {
			t.Errorf("%s: names in question %v, want %v", b.Bench, got, want)
		}
		got := seen(t, v)
		if !slices.Equal(got[share.Pickup], []string{"T-1", "T-2"}) || !slices.Equal(got[share.Jig], []string{"jig-1@north", "jig-1@south"}) || !slices.Equal(got[share.Batch], []string{"fresh", "gale@north", "gale@south"}) {
			t.Errorf("%s: decided: %v", b.Bench, got)
		}
	}
	// Where benches do not agree, apart it is; whoever takes the word back makes it one.
	say("south", share.Apart, share.Pickup, "T-1")
	if got := seen(t, view(t, all["west"]))[share.Pickup]; !slices.Equal(got, []string{"T-1@north", "T-1@south", "T-2"}) {
		t.Errorf("disagreed: %v", got)
	}
	say("south", share.Same, share.Pickup, "T-1")
	if got := seen(t, view(t, all["west"]))[share.Pickup]; !slices.Equal(got, []string{"T-1", "T-2"}) {
		t.Errorf("agreed: %v", got)
	}
	if _, err := all["north"].Decide(context.Background(), share.Pickup, "T-2", nil, share.Same, ""); err == nil {
		t.Error("a name of one bench alone is decided on")
	}
	if _, err := all["north"].Decide(context.Background(), share.Pickup, "T-1", []string{"north", "east"}, share.Same, ""); err == nil {
		t.Error("a bench that is not there is decided on")
	}
}

// TestReadingsThatTellJigsApart: one power-up with other readings is another jig, one with the
// same readings is a copy, and counts once.
func TestReadingsThatTellJigsApart(t *testing.T) {
	dir := t.TempDir()
	copies := benches(t, dir,
		named{"north", "jig-1", "0000000a", "T-1", "gale", "house", 0.254, 0},
		named{"south", "jig-1", "0000000a", "T-1", "gale", "house", 0.254, 0})
	v := view(t, copies["north"])
	if got, want := kinds(v), []share.Kind{share.Pickup, share.Batch}; !slices.Equal(got, want) {
		t.Errorf("copies: in question are %v, want %v", got, want)
	}
	source, err := v.Source()
	if err != nil {
		t.Fatal(err)
	}
	data, err := shop.Cells(context.Background(), source)
	if err != nil {
		t.Fatal(err)
	}
	if data.Used != 1 || data.Readings != 2 {
		t.Errorf("%d of %d readings count, want 1 of 2", data.Used, data.Readings)
	}
	other := benches(t, t.TempDir(),
		named{"north", "jig-1", "0000000a", "T-1", "gale", "house", 0.254, 0},
		named{"south", "jig-1", "0000000a", "T-1", "gale", "house", 0.254, 1})
	v = view(t, other["north"])
	if len(v.Clashes) == 0 || v.Clashes[0].Kind != share.Jig || !strings.Contains(v.Clashes[0].Evidence, "two jigs") {
		t.Errorf("other readings: %v", v.Clashes)
	}
}

// TestClocksThatDisagree: nothing goes by a clock.
func TestClocksThatDisagree(t *testing.T) {
	dir := t.TempDir()
	a, b := sharetest.Shop(t, "north", 4), sharetest.Shop(t, "south", 4)
	ahead, late := sharetest.Row("south", 5), sharetest.Row("north", 5)
	ahead.Time, late.Time = ahead.Time.AddDate(0, 0, 1), late.Time.AddDate(0, 0, -1)
	sharetest.Add(t, b.Dir(), ahead)
	sharetest.Add(t, a.Dir(), late)
	north, south := sharetest.Join(t, a, "north", dir), sharetest.Join(t, b, "south", dir)
	exchange(t, dir, north, south, north)
	sharetest.SameRows(t, a.Dir(), b.Dir(), "north", record.ReadingsFile)
	sharetest.SameRows(t, b.Dir(), a.Dir(), "south", record.ReadingsFile)
}

// TestACaptureAtWork: what is not on the disk for certain is held back, and pushed later.
func TestACaptureAtWork(t *testing.T) {
	dir := t.TempDir()
	a := sharetest.Shop(t, "north", 3)
	north := sharetest.Join(t, a, "north", dir)
	w, err := record.OpenWriter(a.Dir())
	if err != nil {
		t.Fatal(err)
	}
	r := sharetest.Row("north", 4)
	if err := w.AddReading(&r); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(a.Dir(), record.ReadingsFile)
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	next := sharetest.Row("north", 5)
	if _, err := f.WriteString(strings.Join(record.TextOf(&next), ",") + "\r\n"); err != nil { // which has no seal yet
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	report, err := north.Exchange(context.Background(), open(t, dir))
	if err != nil || !report.Held {
		t.Fatalf("held %v, %v", report.Held, err)
	}
	for _, m := range report.Pushed {
		if m.Stream == share.Readings && m.Entries != 4 || m.Stream == share.ReadingSeals {
			t.Errorf("pushed %v while a capture is at work", m)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	exchange(t, dir, north)
	st, err := north.Status(context.Background(), open(t, dir))
	if err != nil || st.Ahead != 0 || st.Held {
		t.Errorf("%d ahead, held %v, %v", st.Ahead, st.Held, err)
	}
	// While the next one is at work, less is certain than was pushed: nothing is called gone.
	if w, err = record.OpenWriter(a.Dir()); err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	exchange(t, dir, north)
}

func TestWhatABenchMayBeCalled(t *testing.T) {
	for _, name := range []string{"north", "n1", "a-b-c"} {
		if err := share.CheckBench(name); err != nil {
			t.Error(err)
		}
	}
	for _, name := range []string{"", "North", "..", "a/b", `a\b`, "con", "lpt1", "-a", "a-", "a--b", "1a", "a.b", "a b", "ü", strings.Repeat("a", 41), "a\n"} {
		if share.CheckBench(name) == nil {
			t.Errorf("%q is taken for a bench's name", name)
		}
	}
}

func TestJoiningTwice(t *testing.T) {
	a := sharetest.Shop(t, "north", 1)
	x, err := share.Join(a, "north", "/somewhere")
	if err != nil {
		t.Fatal(err)
	}
	y, err := share.Join(a, "north", "/somewhere")
	if err != nil || *x != *y {
		t.Errorf("%v, %v", y, err)
	}
	if _, err := share.Join(a, "south", "/somewhere"); err == nil {
		t.Error("a shop has two names")
	}
}
