package shop

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"io/fs"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/capture/record/recordtest"
	"evenpole/fit"
	"evenpole/fit/cell"
)

// slipsText is a record with mistakes, long enough that something is kept of it: its
// header, and its rows with their ends.
func slipsText(t *testing.T) (header string, rows []string) {
	t.Helper()
	text, err := os.ReadFile(recordtest.Path(t, "slips", record.ReadingsFile))
	if err != nil {
		t.Fatal(err)
	}
	if len(text) < mostUnread {
		t.Fatal("the record is too short for the test")
	}
	lines := strings.SplitAfter(string(text), "\n")
	return lines[0], lines[1 : len(lines)-1]
}

// search makes cells of the record as commands do, and reports whether what is found in
// them was known; it compares them with cells that nothing is known of.
func (g *growing) search(what string) (data *cell.Data, keep keeping, known bool) {
	g.Helper()
	sources, err := sourcesOf([]string{g.ReadingsFile()})
	if err != nil {
		g.Fatal(err)
	}
	if !Missing(g.fieldsFile()) {
		sources[0].Fields, sources[0].Magnets = fieldRows(g.fieldsFile()), g.magnets()
	}
	want, err1 := Cells(g.Context(), sources...)
	data, keep, err2 := cellsOf(g.Context(), []string{g.ReadingsFile()}, "", 0)
	if err1 != nil || err2 != nil || !reflect.DeepEqual(data, want) {
		g.Fatalf("%s: what is found is not what a search finds: %v, %v", what, err1, err2)
	}
	return data, keep, keep.found != nil && keep.found.kept.of != ""
}

// However a record changes, what is found in it is what a search finds.
func TestFoundInAChangingRecord(t *testing.T) {
	header, rows := slipsText(t)
	g := &growing{t, folder(t.TempDir()), nil}
	n := len(rows) / 2
	text := header + strings.Join(rows[:n], "")
	r := rand.New(rand.NewPCG(7, 1))
	for _, c := range []struct {
		what   string
		change func()
	}{
		{"more rows", func() { text += strings.Join(rows[n:n+60], "") }},
		{"a row taken back", func() { text += strings.Replace(rows[70], ",ok,", ",retracted,", 1) }},
		{"a level edited", func() { text = withLevelOf(rows[150], text) }},
		{"rows gone", func() { text = text[:strings.LastIndexByte(text[:len(text)-2000], '\n')+1] }},
		{"fields of magnets", func() { g.copyFields(0) }},
		{"more fields", func() { g.copyFields(400) }},
		{"a byte of the file", func() { g.damageFound(r) }},
	} {
		g.write(text)
		_, keep, _ := g.search("at first")
		keep.write(&fit.Result{})
		if _, _, known := g.search("again"); !known {
			t.Fatalf("before %s: what was found is not known", c.what)
		}
		c.change()
		g.write(text)
		if _, _, known := g.search(c.what); known {
			t.Errorf("%s: what was found is believed", c.what)
		}
	}
}

// withLevelOf is a record's text with the level of one of its rows edited.
func withLevelOf(row, text string) string {
	cells := strings.Split(row, ",")
	cells[17] += "9" // rms_mv
	return strings.Replace(text, row, strings.Join(cells, ","), 1)
}

// copyFields copies the sample's field readings, but for the last bytes.
func (g *growing) copyFields(less int) {
	g.Helper()
	text, err := os.ReadFile(recordtest.Path(g.T, "sample-shop", record.FieldsFile))
	if err != nil {
		g.Fatal(err)
	}
	text = text[:bytes.LastIndexByte(text[:len(text)-1000+less], '\n')+1]
	if err := os.WriteFile(g.fieldsFile(), text, 0o666); err != nil {
		g.Fatal(err)
	}
}

func (g *growing) damageFound(r *rand.Rand) {
	g.Helper()
	text, err := os.ReadFile(g.found())
	if err != nil {
		g.Fatal(err)
	}
	text[r.IntN(len(text))] ^= 1 << r.IntN(8)
	if err := os.WriteFile(g.found(), text, 0o666); err != nil {
		g.Fatal(err)
	}
}

// What is damaged, or somebody made up with a digest that is right, is refused or is what
// can be found.
func TestDamagedFinding(t *testing.T) {
	header, rows := slipsText(t)
	g := &growing{t, folder(t.TempDir()), nil}
	g.write(header + strings.Join(rows, ""))
	_, keep, _ := g.search("at first")
	keep.write(&fit.Result{})
	data, keep, known := g.search("again")
	whole, err := os.ReadFile(g.found())
	if err != nil || !known || len(data.Suspects) == 0 || len(keep.found.kept.light) == 0 {
		t.Fatalf("what was found is not believed, or nothing was found: %v", err)
	}
	recalls := func(text []byte) bool {
		if err := os.WriteFile(g.found(), text, 0o666); err != nil {
			t.Fatal(err)
		}
		f := *keep.found
		return f.recall(data)
	}
	if !recalls(whole) {
		t.Fatal("what was found is not believed a second time")
	}
	for i := 0; i < len(whole); i += 7 {
		damaged := slices.Clone(whole)
		damaged[i] ^= 1 << (i % 8)
		if recalls(damaged) || recalls(whole[:i]) {
			t.Fatalf("%d bytes, damaged at %d, are believed", len(whole), i)
		}
	}
	r := rand.New(rand.NewPCG(5, 1))
	taken := 0
	for range 500 {
		text := slices.Clone(whole[:len(whole)-sha256.Size])
		text[r.IntN(len(text))] = byte(r.IntN(256))
		if recalls(withDigest(text)) {
			taken++
		}
		for i := range data.Cells {
			if w := data.Cells[i].Weight; !(0 < w && w <= 1) {
				t.Fatalf("a cell has weight %v", w)
			}
		}
	}
	if taken == 0 {
		t.Error("all is refused: the test does not see what it is for")
	}
}

// A record that was fitted is not fitted again; one that is another is, and so is one
// whose model is not what was made of it.
func TestFitOfTheSameRecord(t *testing.T) {
	header, rows := slipsText(t)
	text := header + strings.Join(rows, "")
	s := &Shop{Now: time.Now, folder: folder(t.TempDir())}
	g := &growing{t, s.folder, nil}
	program := "v1"
	fitted := func() (written []byte, anew bool) {
		t.Helper()
		f := Fitting{Files: []string{s.ReadingsFile()}, Program: program, KeepCells: true, Progress: func(string, int, int) { anew = true }}
		r, d, err := f.Best(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := r.Write(&b); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Keep(r, d, true); err != nil {
			t.Fatal(err)
		}
		return b.Bytes(), anew
	}
	g.write(text)
	first, anew := fitted()
	if again, twice := fitted(); !anew || twice || !bytes.Equal(first, again) {
		t.Fatalf("the first time fitted: %v; the second time: %v; the same model: %v", anew, twice, bytes.Equal(first, again))
	}
	current := func() string {
		name, err := s.CurrentModel()
		if err != nil {
			t.Fatal(err)
		}
		return s.ModelFile(name)
	}
	for _, c := range []struct {
		what   string
		change func()
		same   bool // is the model then
	}{
		{"nothing is kept", func() { os.Remove(s.found()); os.Remove(s.cells()) }, true},
		{"the cells are not kept", func() { os.Remove(s.cells()) }, true},
		{"what is kept is damaged", func() { g.damageFound(rand.New(rand.NewPCG(2, 2))) }, true},
		{"the model is another", func() { replaceIn(t, current(), `"model": "`, `"model":  "`, `"n_used": `, `"n_used": 1`) }, true},
		{"the model is gone", func() { os.Remove(current()) }, true},
		{"another program", func() { program = "v2" }, false},
		{"a level edited", func() { text = withLevelOf(rows[150], text) }, false},
		{"fields of magnets", func() { g.copyFields(0) }, false},
		{"a row more", func() { text += strings.Replace(rows[70], ",ok,", ",retracted,", 1) }, false},
	} {
		before, _ := fitted()
		c.change()
		g.write(text)
		after, anew := fitted()
		if wantAnew := c.what != "the cells are not kept"; anew != wantAnew || bytes.Equal(before, after) != c.same {
			t.Errorf("%s: fitted anew: %v; the same model: %v", c.what, anew, bytes.Equal(before, after))
		}
		if Missing(s.cells()) {
			t.Errorf("%s: the cells are not kept", c.what)
		}
		if again, anew := fitted(); anew || !bytes.Equal(again, after) {
			t.Errorf("%s: then fitted anew: %v; the same model: %v", c.what, anew, bytes.Equal(again, after))
		}
	}
}

// replaceIn replaces texts in a file.
func replaceIn(t *testing.T, path string, oldNew ...string) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(strings.NewReplacer(oldNew...).Replace(string(text))), 0o666); err != nil {
		t.Fatal(err)
	}
}

// Only a fit that ends well keeps what was found, and of a long record alone.
func TestWhoKeepsFindings(t *testing.T) {
	header, rows := slipsText(t)
	s := &Shop{folder: folder(t.TempDir())}
	g := &growing{t, s.folder, nil}
	g.write(header + strings.Join(rows, ""))
	ended, end := context.WithCancel(t.Context())
	f := Fitting{Files: []string{s.ReadingsFile()}, KeepCells: true, Progress: func(string, int, int) { end() }}
	if _, _, err := f.Best(ended); !errors.Is(err, context.Canceled) || !Missing(s.found()) {
		t.Errorf("a fit that was broken off keeps what it found: %v", err)
	}
	f.KeepCells, f.Progress = false, nil
	if _, _, err := f.Best(t.Context()); err != nil || !Missing(s.found()) {
		t.Errorf("a fit keeps what it found though it is not to: %v", err)
	}
	f.KeepCells = true
	if _, _, err := f.Best(t.Context()); err != nil || Missing(s.found()) {
		t.Errorf("a fit does not keep what it found: %v", err)
	}
	before, err := os.ReadFile(s.found())
	if err != nil {
		t.Fatal(err)
	}
	g.write(header + strings.Join(rows[:len(rows)-50], ""))
	if _, err := s.Cells(t.Context()); err != nil {
		t.Fatal(err)
	}
	if after, err := os.ReadFile(s.found()); err != nil || !bytes.Equal(before, after) {
		t.Errorf("reading a record wrote what was found in it: %v", err)
	}
	os.Remove(s.found())
	if _, err := s.Cells(t.Context()); err != nil || !Missing(s.found()) {
		t.Errorf("reading a record wrote what was found in it: %v", err)
	}
	short, text := &Shop{folder: folder(t.TempDir())}, header+strings.Join(rows[:len(rows)/3], "")
	(&growing{t, short.folder, nil}).write(text)
	f.Files = []string{short.ReadingsFile()}
	if _, err := os.Stat(short.found()); !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	if _, _, err := f.Best(t.Context()); err != nil || !Missing(short.found()) {
		t.Errorf("what was found in a short record is kept: %v", err)
	}
}
