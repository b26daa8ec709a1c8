package record

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/numbers"
	"evenpole/capture/record/table"

	"pgregory.net/rapid"
)

// writtenShop is a shop in which n readings were written, one second apart, and
// some field readings.
func writtenShop(t *testing.T, n, fields int) string {
	t.Helper()
	dir := t.TempDir()
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(s.readings.append(someReadings(1, n)...), s.fields.append(someFields(n+1, fields)...), s.Close()); err != nil {
		t.Fatal(err)
	}
	return dir
}

var start = time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC)

func someReadings(from, n int) (rows []table.Row) {
	for seq := from; seq < from+n; seq++ {
		r := sampleReading(uint32(seq))
		r.Time, r.RMS = start.Add(time.Duration(seq)*time.Second), 10+float64(seq)/1000
		rows = append(rows, readingColumns.Row(&r))
	}
	return rows
}

func someFields(from, n int) (rows []table.Row) {
	for seq := from; seq < from+n; seq++ {
		f := FieldReading{Time: start.Add(time.Duration(seq) * time.Second), Session: "s002", Jig: "jig-7", Boot: "0000ABCD",
			Seq: uint32(seq), HasSeq: true, Batch: "M-03", Magnet: "M-03/01", Position: 1, Take: seq, Field: 234.7, ProbeGap: 0.5, Status: OK}
		rows = append(rows, fieldColumns.Row(&f))
	}
	return rows
}

// edit changes the lines of a file; the header is line 1.
func edit(t *testing.T, path string, change func(lines []string) []string) {
	t.Helper()
	lines := strings.SplitAfter(text(t, path), "\r\n")
	lines = change(lines[:len(lines)-1])
	if err := os.WriteFile(path, []byte(strings.Join(lines, "")), 0o644); err != nil {
		t.Fatal(err)
	}
}

// findings are what Verify tells: "kind first-last".
func findings(t *testing.T, dir string) (all []string) {
	t.Helper()
	_, err := Verify(context.Background(), dir, func(f Finding) {
		all = append(all, fmt.Sprintf("%s %s %d-%d", filepath.Base(f.File), f.Kind, f.First, f.Last))
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(all)
	return all
}

func TestVerify(t *testing.T) {
	note := func(lines []string, n int) { lines[n-1] = strings.Replace(lines[n-1], ",ok,", ",ok,mine", 1) }
	tests := []struct {
		name   string
		change func(lines []string) []string
		want   []string
	}{
		{"nothing", func(l []string) []string { return l }, nil},
		{"one row", func(l []string) []string { note(l, 5); return l }, []string{"readings.csv altered 5-5"}},
		{"the last row", func(l []string) []string { note(l, 41); return l }, []string{"readings.csv altered 41-41"}},
		{"rows in a row and one apart", func(l []string) []string { note(l, 5); note(l, 6); note(l, 9); return l },
			[]string{"readings.csv altered 5-6", "readings.csv altered 9-9"}},
		{"a row is gone", func(l []string) []string { return slices.Delete(l, 9, 10) },
			[]string{"readings.csv gap 10-10", "readings.csv missing 9-9"}},
		{"the last rows are gone", func(l []string) []string { return l[:38] },
			[]string{"fields.csv gap 2-2", "readings.csv missing 38-38"}},
		{"all rows are gone", func(l []string) []string { return l[:1] }, []string{"readings.csv missing 1-1"}},
		{"a row stands twice", func(l []string) []string { return slices.Insert(l, 20, l[9]) },
			[]string{"readings.csv added 21-21", "readings.csv backwards 21-21", "readings.csv duplicate 21-21"}},
		{"a row was moved down", func(l []string) []string { x := l[9]; return slices.Insert(slices.Delete(l, 9, 10), 20, x) },
			[]string{"readings.csv added 21-21", "readings.csv backwards 21-21", "readings.csv missing 9-9"}},
		{"a row was added by hand", func(l []string) []string {
			return append(l, strings.Replace(l[40], ",40,", ",400,", 1))
		}, []string{"readings.csv added 42-42", "readings.csv gap 42-42"}},
		{"a cell is no number", func(l []string) []string { l[4] = strings.Replace(l[4], "10.004", "1O.004", 1); return l },
			[]string{"readings.csv altered 5-5", "readings.csv gap 6-6", "readings.csv unreadable 5-5"}},
		{"a row is too short", func(l []string) []string { l[4] = "2026,s001\r\n"; return l },
			[]string{"readings.csv altered 5-5", "readings.csv gap 6-6", "readings.csv unreadable 5-5"}},
		{"a spreadsheet wrote numbers its own way", func(l []string) []string {
			for i := range l {
				l[i] = strings.NewReplacer("0.3300", "0.33", ",500,", ",500.0,", "12.300", "12.3", "\r\n", ",x\n").Replace(l[i])
			}
			return l
		}, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			dir := writtenShop(t, 40, 3)
			edit(t, filepath.Join(dir, ReadingsFile), tt.change)
			if got := findings(t, dir); !slices.Equal(got, tt.want) {
				t.Errorf("got %q\nexpected %q", got, tt.want)
			}
		})
	}
}

// Whatever is altered, removed and added, each such row is told of, and no other.
func TestVerifyFindsWhatWasDone(t *testing.T) {
	written := writtenShop(t, 60, 0)
	rapid.Check(t, func(rt *rapid.T) {
		dir := t.TempDir()
		for _, name := range []string{ReadingsFile, sealsPath(ReadingsFile)} {
			if err := os.WriteFile(filepath.Join(dir, name), []byte(text(t, filepath.Join(written, name))), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		// Rows apart, so that what happens to one does not look like another.
		n, altered, gone, added := 0, 0, 0, 0
		edit(t, filepath.Join(dir, ReadingsFile), func(lines []string) (out []string) {
			for i, l := range lines {
				out = append(out, l)
				if i == 0 || i%2 == 1 {
					continue
				}
				switch rapid.IntRange(0, 5).Draw(rt, "deed") {
				case 0:
					out[len(out)-1] = strings.Replace(l, "plain", "wound", 1)
					altered++
				case 1:
					out = out[:len(out)-1]
					gone++
				case 2:
					n++
					out = append(out, strings.Replace(l, "0000ABCD", fmt.Sprintf("%08X", n), 1))
					added++
				}
			}
			return out
		})
		got := map[string]int{}
		if _, err := Verify(context.Background(), dir, func(f Finding) {
			if f.Kind != Gap {
				got[f.Kind]++
			}
		}); err != nil {
			rt.Fatal(err)
		}
		if got[Altered] != altered || got[Missing] != gone || got[Added] != added || len(got) > 3 {
			rt.Errorf("altered %d, removed %d, added %d, told %v", altered, gone, added, got)
		}
	})
}

// Thousands of rows may be cut out, or pasted in, at one place.
func TestVerifyFindsItsWayBack(t *testing.T) {
	dir := writtenShop(t, 9000, 0)
	path := filepath.Join(dir, ReadingsFile)
	var cut []string
	edit(t, path, func(l []string) []string { cut = slices.Clone(l[3000:6000]); return slices.Delete(l, 3000, 6000) })
	if got, want := findings(t, dir), []string{"readings.csv gap 3001-3001", "readings.csv missing 3000-3000"}; !slices.Equal(got, want) {
		t.Errorf("got %q", got)
	}
	edit(t, path, func(l []string) []string { return slices.Insert(l, 1000, cut...) })
	// Of two blocks that changed places, the shorter one is taken for moved.
	got := slices.DeleteFunc(findings(t, dir), func(s string) bool { return strings.Contains(s, "backwards") })
	if want := []string{"readings.csv added 4001-6000", "readings.csv missing 1000-1000"}; !slices.Equal(got, want) {
		t.Errorf("got %q", got)
	}
}

func TestVerifySeals(t *testing.T) {
	tests := []struct {
		name   string
		change func(lines []string) []string
		want   []string
	}{
		{"a seal is gone", func(l []string) []string { return slices.Delete(l, 4, 5) },
			[]string{"readings.csv added 5-5", "readings.seals.csv bad seals 5-5"}},
		{"the last seals are gone", func(l []string) []string { return l[:9] }, []string{"readings.csv added 10-11"}},
		{"a remark was altered", func(l []string) []string { l[4] = strings.Replace(l[4], "\r", "accepted\r", 1); return l },
			[]string{"readings.csv unsealed 5-5", "readings.seals.csv bad seals 5-5"}},
		{"no header", func(l []string) []string { return l[1:] }, []string{"readings.csv added 2-11", "readings.seals.csv bad seals 1-1"}},
		{"never sealed", func(l []string) []string { return nil }, []string{"readings.csv unsealed 2-11"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			dir := writtenShop(t, 10, 0)
			edit(t, filepath.Join(dir, "readings.seals.csv"), tt.change)
			if got := findings(t, dir); !slices.Equal(got, tt.want) {
				t.Errorf("got %q\nexpected %q", got, tt.want)
			}
		})
	}
}

// A row that was written and not sealed: after a crash it is sealed with a
// remark; when nobody crashed, somebody else wrote it.
func TestRowsWithoutASeal(t *testing.T) {
	for _, crashed := range []bool{true, false} {
		dir := writtenShop(t, 10, 0)
		edit(t, filepath.Join(dir, "readings.seals.csv"), func(l []string) []string { return l[:len(l)-1] })
		kind := "added"
		if crashed {
			leaveLock(t, dir)
			kind = "unsealed"
		}
		want := []string{fmt.Sprintf("readings.csv %s 11-11", kind)}
		if got := findings(t, dir); !slices.Equal(got, want) {
			t.Errorf("before the next writer: got %q, expected %q", got, want)
		}
		writeMore(t, dir, 11, 2)
		if got := findings(t, dir); !slices.Equal(got, want) {
			t.Errorf("after the next writer: got %q, expected %q", got, want)
		}
	}
}

// leaveLock leaves the lock of a process that is gone.
func leaveLock(t *testing.T, dir string) {
	t.Helper()
	host, err := os.Hostname()
	if err != nil {
		t.Fatal(err)
	}
	left := fmt.Sprintf("process %d on %q since 2026-03-04T05:06:07Z", 1<<30, host)
	if err := os.WriteFile(filepath.Join(dir, disk.LockFile), []byte(left), 0o644); err != nil {
		t.Fatal(err)
	}
}

// writeMore writes readings into a shop, as the next capture does.
func writeMore(t *testing.T, dir string, from, n int) {
	t.Helper()
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(s.readings.append(someReadings(from, n)...), s.Close()); err != nil {
		t.Fatal(err)
	}
}

// What somebody did further up does not keep the next writer from telling which
// rows are new: those after the newest one that was sealed.
func TestTheNextWriterOfARecordThatWasEdited(t *testing.T) {
	for name, change := range map[string]func(lines []string) []string{
		"rows stand twice": func(l []string) []string { return slices.Insert(l, 5, l[3], l[4]) },
		"rows are gone":    func(l []string) []string { return slices.Delete(l, 3, 5) },
		"a row is put in": func(l []string) []string {
			return slices.Insert(l, 5, strings.Replace(l[4], "jig-7", "jig-8", 1))
		},
	} {
		for _, crashed := range []bool{false, true} {
			dir := writtenShop(t, 10, 0)
			edit(t, filepath.Join(dir, ReadingsFile), change)
			if crashed {
				edit(t, filepath.Join(dir, "readings.seals.csv"), func(l []string) []string { return l[:len(l)-1] })
				leaveLock(t, dir)
			}
			want := findings(t, dir)
			writeMore(t, dir, 11, 2)
			if got := findings(t, dir); !slices.Equal(got, want) {
				t.Errorf("%s, crashed %v: got %q\nexpected %q", name, crashed, got, want)
			}
		}
	}
}

// Seals that are not there are made on request only; from then on new rows are
// sealed all the same.
func TestARecordWithoutSeals(t *testing.T) {
	dir := writtenShop(t, 10, 2)
	for _, name := range []string{"readings.seals.csv", "fields.seals.csv"} {
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.readings.append(someReadings(13, 2)...); err != nil {
		t.Fatal(err)
	}
	if got, want := findings(t, dir), []string{"fields.csv unsealed 2-3", "readings.csv unsealed 2-11"}; !slices.Equal(got, want) {
		t.Errorf("got %q", got)
	}
	edit(t, filepath.Join(dir, ReadingsFile), func(l []string) []string { l[11] = strings.Replace(l[11], "plain", "wound", 1); return l })
	if got, want := findings(t, dir), []string{"fields.csv unsealed 2-3", "readings.csv altered 12-12", "readings.csv unsealed 2-11"}; !slices.Equal(got, want) {
		t.Errorf("got %q", got)
	}
	done, err := s.Seal(start)
	if err != nil || len(done) != 2 || !strings.HasSuffix(done[0], "readings.csv: 12 rows sealed as they stand; the seals until now are in readings.seals.until-20260304T050607.000Z.csv") {
		t.Errorf("%q, %v", done, err)
	}
	if err := s.readings.append(someReadings(15, 1)...); err != nil {
		t.Fatal(err)
	}
	if got, want := findings(t, dir), []string{"fields.csv unsealed 2-3", "readings.csv unsealed 2-13"}; !slices.Equal(got, want) {
		t.Errorf("got %q", got)
	}
}

func TestVerifyNeedsARecord(t *testing.T) {
	if _, err := Verify(context.Background(), t.TempDir(), func(Finding) {}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("got %v", err)
	}
}

// The sample has two rows that stand twice and three that were taken back.
func TestVerifyTheSample(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{ReadingsFile, FieldsFile} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text(t, sampleShop+name)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kinds := map[string]int{}
	audit, err := Verify(context.Background(), dir, func(f Finding) { kinds[f.Kind]++ })
	if err != nil || kinds[Duplicate] != 2 || kinds[Unsealed] != 2 || kinds[NoTarget] != 0 || audit.Faults != 2 {
		t.Errorf("%v, %+v, %v", kinds, audit, err)
	}
}

// A set of numbers is the same, however slowly it is kept.
func TestSequence(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 50 {
		s, slow := numbers.Sequence{}, map[uint32]bool{}
		from := rng.Uint32()
		if rng.IntN(2) == 0 {
			from = -uint32(rng.IntN(40)) // across the wrap
		}
		for range 80 {
			n := from + uint32(rng.IntN(60))
			if s.Add(n, numbers.Place{}) == slow[n] || s.Add(n, numbers.Place{}) {
				t.Fatalf("number %d: in %v", n, slow[n])
			}
			slow[n] = true
		}
		runs := 0
		for n := range slow {
			if !slow[n-1] {
				runs++
			}
		}
		if len(s.Spans) != runs {
			t.Errorf("%d spans, expected %d", len(s.Spans), runs)
		}
	}
}

func BenchmarkVerify(b *testing.B) {
	const rows = 20000
	dir := b.TempDir()
	s, err := OpenWriter(dir)
	if err != nil {
		b.Fatal(err)
	}
	if err := errors.Join(s.readings.append(someReadings(1, rows)...), s.Close()); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if audit, err := Verify(context.Background(), dir, func(Finding) {}); err != nil || audit.Faults != 0 || audit.Files[0].Sealed != rows {
			b.Fatalf("%+v, %v", audit, err)
		}
	}
	b.ReportMetric(float64(rows*b.N)/b.Elapsed().Seconds(), "rows/s")
}
