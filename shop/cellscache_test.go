package shop

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/capture/record/recordtest"
	"evenpole/fit/gain"
)

// growing is a shop whose record grows.
type growing struct {
	*testing.T
	folder
	book gain.Book
}

// write writes the record anew, and plainly: the file is replaced.
func (g *growing) write(text string) {
	g.Helper()
	if err := os.WriteFile(g.ReadingsFile(), []byte(text), 0o666); err != nil {
		g.Fatal(err)
	}
}

// helps reports whether what is kept is believed.
func (g *growing) helps() bool {
	g.Helper()
	k, err := openRecordCells(g.Context(), g.folder, g.book)
	if err != nil {
		g.Fatal(err)
	}
	defer k.stand.Close()
	return k.resume() != nil
}

// check makes cells with the help of what is kept, which it keeps anew, and compares them
// with those of all rows.
func (g *growing) check(what string) {
	g.Helper()
	want, err1 := gather(g.Context(), []Source{{Readings: readingRows(g.ReadingsFile()), Gains: g.book}})
	got, keep, err2 := gatherKept(g.Context(), g.folder, g.book, 0)
	keep.cells.write()
	if !reflect.DeepEqual(got, want) || (err1 == nil) != (err2 == nil) || err1 != nil && err1.Error() != err2.Error() {
		g.Fatalf("%s: cells are others than of all rows; %v, %v", what, err2, err1)
	}
}

// sampleText is the sample record: its header, and its rows with their ends.
func sampleText(t *testing.T) (header string, rows []string) {
	t.Helper()
	text, err := os.ReadFile(recordtest.Path(t, "sample-shop", record.ReadingsFile))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(text), "\n")
	return lines[0], lines[1 : len(lines)-1]
}

// However a record changes, the cells are those of all of its rows.
func TestKeptCellsOfAChangingRecord(t *testing.T) {
	header, rows := sampleText(t)
	helped := 0
	for seed := range uint64(15) {
		r := rand.New(rand.NewPCG(seed, 1))
		g := &growing{t, folder(t.TempDir()), nil}
		n := 100 + r.IntN(200)
		text := header + strings.Join(rows[:n], "")
		g.write(text)
		g.check("at first")
		for range 12 {
			what := "more rows"
			switch r.IntN(9) {
			case 0:
				what = "rows again"
				text += strings.Join(rows[:r.IntN(20)], "")
			case 1:
				what = "a row taken back"
				text += strings.Replace(rows[r.IntN(n)], ",ok,", ",retracted,", 1)
			case 2:
				what = "a torn row"
				torn := text + rows[n%len(rows)][:40]
				g.write(torn)
				g.check(what)
				if err := os.WriteFile(g.join(disk.OpenMark), nil, 0o666); err != nil {
					t.Fatal(err)
				}
				g.check(what + " while a writer is at work")
				os.Remove(g.join(disk.OpenMark))
			case 3:
				what = "another calibration"
				g.book = gain.Book{{Jig: "jig-7", Gain: 1 + r.Float64()/10}}
			case 4:
				what = "a row edited"
				i := len(header) + r.IntN(len(text)-len(header))
				if c := text[i]; '1' <= c && c <= '8' {
					text = text[:i] + string(c+1) + text[i+1:]
				}
			case 5:
				what = "rows gone"
				text = text[:strings.LastIndexByte(text[:len(text)-r.IntN(len(text)/10)], '\n')+1]
			default:
				next := min(n+r.IntN(60), len(rows))
				text += strings.Join(rows[n:next], "")
				n = next
			}
			g.write(text)
			if g.helps() {
				helped++
			}
			g.check(what)
		}
	}
	if helped < 60 {
		t.Errorf("what was kept helped %d times: the test does not see what it is for", helped)
	}
}

// What is kept is of no use where a byte of it is another or missing.
func TestDamagedKeptCells(t *testing.T) {
	header, rows := sampleText(t)
	g := &growing{t, folder(t.TempDir()), nil}
	g.write(header + strings.Join(rows[:40], ""))
	g.check("at first")
	whole, err := os.ReadFile(g.cells())
	if err != nil || !g.helps() {
		t.Fatalf("what was kept is not believed: %v", err)
	}
	for i := range whole {
		damaged := slices.Clone(whole)
		damaged[i] ^= 1 << (i % 8)
		for _, text := range [][]byte{damaged, whole[:i]} {
			if err := os.WriteFile(g.cells(), text, 0o666); err != nil {
				t.Fatal(err)
			}
			if g.helps() {
				t.Fatalf("%d bytes, damaged at %d, are believed", len(text), i)
			}
		}
	}
	g.check("damaged")
	if !g.helps() {
		t.Error("what is damaged is not written anew")
	}
}

// What somebody made up, with a digest that is right, is refused or is cells.
func TestKeptCellsMadeUp(t *testing.T) {
	header, rows := sampleText(t)
	g := &growing{t, folder(t.TempDir()), nil}
	g.write(header + strings.Join(rows[:200], ""))
	g.check("at first")
	whole, err := os.ReadFile(g.cells())
	if err != nil {
		t.Fatal(err)
	}
	taken := 0
	r := rand.New(rand.NewPCG(5, 1))
	for range 2000 {
		text := slices.Clone(whole[:len(whole)-sha256.Size])
		text[r.IntN(len(text))] = byte(r.IntN(256))
		digest := sha256.Sum256(text)
		if err := os.WriteFile(g.cells(), append(text, digest[:]...), 0o666); err != nil {
			t.Fatal(err)
		}
		if d, err := CellsOf(t.Context(), []string{g.ReadingsFile()}, ""); err != nil || len(d.Cells) == 0 {
			t.Fatalf("got %v, %v", d, err)
		}
		if g.helps() {
			taken++
		}
	}
	if taken == 0 {
		t.Error("all is refused: the test does not see what it is for")
	}
}

// Only a fit that is asked to keeps anything, and of a long record alone.
func TestWhoKeepsCells(t *testing.T) {
	header, rows := sampleText(t)
	s := &Shop{folder: folder(t.TempDir())}
	g := &growing{t, s.folder, nil}
	kept := func() []byte {
		text, err := os.ReadFile(s.cells())
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			t.Fatal(err)
		}
		return text
	}
	g.write(header + strings.Join(rows[:len(rows)-50], ""))
	best := func() {
		f := Fitting{Files: []string{s.ReadingsFile()}, KeepCells: true}
		if _, _, err := f.Best(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	if best(); kept() != nil {
		t.Error("cells of a short record are kept")
	}
	g.check("kept all the same")
	before := kept()
	g.write(header + strings.Join(rows, ""))
	if _, err := s.Cells(t.Context()); err != nil || !g.helps() || !bytes.Equal(kept(), before) {
		t.Errorf("reading a record wrote what is kept of it; %v", err)
	}
	if d, err := s.gathered(t.Context()); err != nil || len(d.Cells) == 0 || !bytes.Equal(kept(), before) {
		t.Errorf("gathering a record wrote what is kept of it; %v", err)
	}
	if best(); !bytes.Equal(kept(), before) {
		t.Error("cells are kept anew for some rows")
	}
	if err := os.Remove(s.cells()); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Cells(t.Context()); err != nil || kept() != nil {
		t.Errorf("reading a record keeps cells; %v", err)
	}
	long := header
	for i := range 5 {
		long += strings.ReplaceAll(strings.Join(rows, ""), ",s0", ",s"+string(rune('1'+i)))
	}
	if g.write(long); len(long) < mostUnread {
		t.Fatal("the record is too short for the test")
	}
	if best(); !g.helps() {
		t.Error("cells of a long record are not kept")
	}
}

func TestIsRecord(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	s := &Shop{folder: folder(dir)}
	other := filepath.Join(t.TempDir(), record.ReadingsFile)
	for _, c := range []struct {
		files []string
		want  bool
	}{
		{[]string{s.ReadingsFile()}, true},
		{[]string{"./readings.csv"}, true},
		{[]string{other}, false},
		{[]string{s.ReadingsFile(), other}, false},
		{nil, false},
	} {
		if got := s.IsRecord(c.files); got != c.want {
			t.Errorf("%v: got %v", c.files, got)
		}
	}
}
