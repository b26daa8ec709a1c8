package record

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"evenpole/capture/record/disk"
)

// files are the files of a shop by name.
type files map[string]string

func filesIn(t *testing.T, dir string) files {
	t.Helper()
	all := files{}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		all[e.Name()] = text(t, filepath.Join(dir, e.Name()))
	}
	return all
}

// shop makes a shop of files.
func (f files) shop(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	for name, text := range f {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func (f files) key() string {
	var b strings.Builder
	for _, name := range slices.Sorted(maps.Keys(f)) {
		fmt.Fprintf(&b, "%q %q\n", name, f[name])
	}
	return b.String()
}

// A trace watches what a writer writes and syncs, and gathers the states that a power
// cut can leave: of what was not synced, each file has lost all, a part or nothing, or
// has the length and not the text.
type trace struct {
	t      *testing.T
	dir    string
	synced map[string]int // bytes of each file
	states map[string]crashState
	kept   int // rows that were called kept so far
}

type crashState struct {
	files
	kept int
}

func newTrace(t *testing.T, dir string) *trace {
	tr := &trace{t: t, dir: dir, synced: map[string]int{}, states: map[string]crashState{}}
	for name, text := range filesIn(t, dir) {
		tr.synced[name] = len(text)
	}
	tr.look()
	return tr
}

type tracedFile struct {
	disk.Appender
	name string
	*trace
}

func (tr *trace) create(path string) (disk.Appender, error) {
	f, err := disk.OpenAppend(path)
	tr.look()
	return &tracedFile{f, filepath.Base(path), tr}, err
}

func (f *tracedFile) Write(p []byte) (int, error) {
	n, err := f.Appender.Write(p)
	f.look()
	return n, err
}

func (f *tracedFile) Sync() error {
	err := f.Appender.Sync()
	f.synced[f.name] = len(text(f.t, filepath.Join(f.dir, f.name)))
	f.look()
	return err
}

// look adds the states that a power cut can leave now.
func (tr *trace) look() {
	now := filesIn(tr.t, tr.dir)
	states := []files{now}
	for name, whole := range now {
		safe := tr.synced[name]
		if name == disk.LockFile || safe >= len(whole) { // the lock is synced before rows are written
			continue
		}
		half := (safe + len(whole)) / 2
		var more []files
		for _, s := range states {
			for _, end := range []string{"", whole[safe:half], whole[safe : len(whole)-1], whole[safe:half] + strings.Repeat("\x00", len(whole)-half)} {
				other := maps.Clone(s)
				other[name] = whole[:safe] + end
				more = append(more, other)
			}
		}
		states = append(states, more...)
	}
	for _, s := range states {
		key := s.key()
		if _, there := tr.states[key]; !there {
			tr.states[key] = crashState{s, tr.kept}
		}
	}
}

// write opens the shop under the trace, adds some readings and a pair of fields, and
// closes it.
func (tr *trace) write(from, n int) {
	tr.t.Helper()
	s, err := openWriter(tr.dir, tr.create)
	if err != nil {
		tr.t.Fatal(err)
	}
	for _, row := range someReadings(from, n) {
		if err := s.readings.append(row); err != nil {
			tr.t.Fatal(err)
		}
		tr.kept++
		tr.look()
	}
	if n > 0 {
		if err := s.fields.append(someFields(from+n, 2)...); err != nil {
			tr.t.Fatal(err)
		}
	}
	tr.look()
	if err := s.Close(); err != nil {
		tr.t.Fatal(err)
	}
	tr.synced = map[string]int{}
	for name, text := range filesIn(tr.t, tr.dir) {
		tr.synced[name] = len(text)
	}
	tr.look()
}

// nextWriters are what may come after a crash: a command that adds a row, one that adds
// none, and one whose host has another name since, so that the lock is deleted as it
// is advised.
var nextWriters = map[string]func(t *testing.T, dir string){
	"the same command":        func(t *testing.T, dir string) { writeMore(t, dir, 901, 1) },
	"a command without a row": func(t *testing.T, dir string) { writeMore(t, dir, 901, 0) },
	"a host of another name": func(t *testing.T, dir string) {
		lock := filepath.Join(dir, disk.LockFile)
		if text, err := os.ReadFile(lock); err == nil && len(text) > 0 {
			if err := os.Remove(lock); err != nil {
				t.Fatal(err)
			}
		}
		writeMore(t, dir, 901, 0)
	},
}

// faultsOf are the faults that Verify tells of a shop.
func faultsOf(t *testing.T, dir string) (all []Finding) {
	t.Helper()
	_, err := Verify(context.Background(), dir, func(f Finding) {
		if f.Fault {
			all = append(all, f)
		}
	})
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		t.Fatal(err)
	}
	return all
}

// A crash never looks like tampering: not in any state that a power cut can leave,
// nor in any that it can leave of the next writer, and whoever comes next.
func TestACrashIsNotCalledTampering(t *testing.T) {
	first := newTrace(t, t.TempDir())
	first.write(1, 2)
	if len(first.states) < 50 {
		t.Fatalf("only %d states", len(first.states))
	}
	all := maps.Clone(first.states)
	for _, key := range some(first.states, 3) {
		s := first.states[key]
		for _, n := range []int{0, 1} {
			second := newTrace(t, s.shop(t))
			second.write(801, n)
			for key, state := range second.states {
				all[key] = crashState{state.files, s.kept}
			}
		}
	}
	t.Logf("%d states", len(all))
	told := 0
	for _, key := range some(all, 90) {
		s := all[key]
		for name, next := range nextWriters {
			dir := s.shop(t)
			before := faultsOf(t, dir)
			next(t, dir)
			if faults := append(before, faultsOf(t, dir)...); len(faults) > 0 || count(t, dir) < s.kept {
				if told++; told < 4 {
					t.Errorf("%s: %v; %d rows, %d kept; from\n%s", name, faults, count(t, dir), s.kept, key)
				}
			}
		}
	}
	if told > 0 {
		t.Errorf("%d told", told)
	}
}

// some returns the keys of so many states, spread evenly; bench/crashes tries all.
func some(states map[string]crashState, n int) (keys []string) {
	all := slices.Sorted(maps.Keys(states))
	for i := range min(n, len(all)) {
		keys = append(keys, all[i*len(all)/min(n, len(all))])
	}
	return keys
}

// count counts the readings in a shop.
func count(t *testing.T, dir string) (n int) {
	t.Helper()
	for _, err := range ReadFile(filepath.Join(dir, ReadingsFile), Readings) {
		if err != nil {
			t.Fatal(err)
		}
		n++
	}
	return n
}

// Tampering never passes for a crash: rows that were added to a shop that was closed
// are told of for good, wherever the next writers are cut short; and what is altered
// or removed in what a crash left is told of if it was sealed.
func TestTamperingDoesNotPassForACrash(t *testing.T) {
	dir := writtenShop(t, 5, 0)
	edit(t, filepath.Join(dir, ReadingsFile), func(l []string) []string {
		return append(l, strings.Replace(l[5], ",5,", ",6,", 1), strings.Replace(l[5], ",5,", ",7,", 1))
	})
	tr := newTrace(t, dir)
	tr.write(8, 2)
	for _, key := range some(tr.states, 30) {
		s := tr.states[key]
		for name, next := range nextWriters {
			dir := s.shop(t)
			next(t, dir)
			added := 0
			for _, f := range faultsOf(t, dir) {
				if f.Kind == Added {
					added += f.Last - f.First + 1
				}
			}
			if added != 2 {
				t.Errorf("%s: %d rows told of as added, expected 2; from\n%s", name, added, key)
			}
		}
	}

	tr = newTrace(t, t.TempDir())
	tr.write(1, 3)
	tampered := 0
	for _, key := range some(tr.states, 60) {
		s := tr.states[key]
		sealed := strings.Count(s.files["readings.seals.csv"], "\r\n") - 1
		if sealed < 2 {
			continue
		}
		for kind, deed := range map[string]func([]string) []string{
			Altered: func(l []string) []string { l[2] = strings.Replace(l[2], "plain", "wound", 1); return l },
			Missing: func(l []string) []string { return slices.Delete(l, 1, 2) },
			Added:   func(l []string) []string { return slices.Insert(l, 1, strings.Replace(l[1], ",1,", ",77,", 1)) },
		} {
			dir := s.shop(t)
			edit(t, filepath.Join(dir, ReadingsFile), deed)
			writeMore(t, dir, 901, 0)
			if !slices.ContainsFunc(faultsOf(t, dir), func(f Finding) bool { return f.Kind == kind }) {
				t.Errorf("%s: not told; from\n%s", kind, key)
			}
			tampered++
		}
	}
	if tampered < 30 {
		t.Errorf("only %d tampered", tampered)
	}
}

// Rows that say the same have the same digest: the number of the last seal tells which
// of them it is of.
func TestRowsThatSayTheSameAfterACrash(t *testing.T) {
	dir := writtenShop(t, 2, 0)
	seals := filepath.Join(dir, "readings.seals.csv")
	writeTwice := func() {
		s, err := OpenWriter(dir)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(s.readings.append(someReadings(3, 1)...), s.readings.append(someReadings(2, 1)...), s.Close()); err != nil {
			t.Fatal(err)
		}
	}
	writeTwice()
	edit(t, seals, func(l []string) []string { return l[:len(l)-2] })
	leaveLock(t, dir)
	writeMore(t, dir, 4, 1)
	for _, f := range faultsOf(t, dir) {
		if f.Kind != Duplicate {
			t.Error(f)
		}
	}
	if n := bytes.Count([]byte(text(t, seals)), []byte(afterCrash)); n != 2 {
		t.Errorf("%d rows sealed after the crash, expected 2", n)
	}
}
