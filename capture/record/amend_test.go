package record

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"evenpole/profiles"
)

// correctedMount is what was on the jig when sampleReading was captured, with another
// pole height and magnet.
func correctedMount(t *testing.T) *profiles.Mount {
	t.Helper()
	text := `pickup = 'T "4", new'
batch = "M-03"
pole_heights_mm = [0.75, 0.75, 0.75, 0.75]
magnets = ["M-03/07", "M-03/08", "M-03/09", "M-03/10"]
string_heights_mm = [3.125, 3.125, 3.125, 3.125]
probe_gap_mm = 0.5
` + strings.Repeat("[[string]]\ngauge_mm = 0.33\nwrap = \"plain\"\n", 4)
	m, err := profiles.ParseMount("corrected.toml", []byte(text), &profiles.Library{})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// mistakenShop has a session of four readings and two field readings.
func mistakenShop(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	fields := someFields(5, 2)
	for _, row := range fields {
		*fieldColumns.Cell(row, "session") = "s001"
	}
	if err := errors.Join(s.readings.append(someReadings(1, 4)...), s.fields.append(fields...), s.Close()); err != nil {
		t.Fatal(err)
	}
	return dir
}

// amend files a session of a shop anew.
func amend(t *testing.T, dir string, a Amending) Amendment {
	t.Helper()
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	done, err := s.Amend(a, start.Add(time.Hour))
	if err = errors.Join(err, s.Close()); err != nil {
		t.Fatal(err)
	}
	return done
}

// counts lists the rows of a shop that count, by all that they say.
func counts(t *testing.T, dir string) (all []string) {
	t.Helper()
	readings, err := Sift[Reading](ReadFile(filepath.Join(dir, ReadingsFile), Readings), nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range readings {
		if r.Why == Counts {
			all = append(all, strings.Join(readingColumns.Row(&r.Row), ","))
		}
	}
	fields, err := Sift[FieldReading](ReadFile(filepath.Join(dir, FieldsFile), Fields), nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range fields {
		if r.Why == Counts {
			all = append(all, strings.Join(fieldColumns.Row(&r.Row), ","))
		}
	}
	slices.Sort(all)
	return all
}

func TestAmend(t *testing.T) {
	dir := mistakenShop(t)
	before := text(t, filepath.Join(dir, ReadingsFile))
	was := counts(t, dir)
	a := Amending{Session: "s001", Mount: correctedMount(t), Reason: "heights  of\nanother pickup"}
	if done := amend(t, dir, a); done.Readings != 4 || done.Fields != 2 || done.Unchanged != 0 {
		t.Errorf("%+v", done)
	}
	after, grown := strings.CutPrefix(text(t, filepath.Join(dir, ReadingsFile)), before)
	rows := strings.SplitAfter(after, "\r\n")
	old := strings.SplitAfter(before, "\r\n")[1]
	if !grown || len(rows) != 9 {
		t.Fatalf("the record became\n%s", text(t, filepath.Join(dir, ReadingsFile)))
	}
	if want := strings.NewReplacer("2026-03-04T05:06:08.000Z", "2026-03-04T06:06:07.000Z", ",ok,", ",retracted,amended: heights of another pickup").Replace(old); rows[0] != want {
		t.Errorf("the old row ends as\n%s, expected\n%s", rows[0], want)
	}
	if want := strings.Replace(old, ",-0.05,", ",0.75,", 1); rows[1] != want {
		t.Errorf("the new row is\n%s, expected\n%s", rows[1], want)
	}
	now := counts(t, dir)
	if len(now) != len(was) || !strings.Contains(strings.Join(now, "\n"), "M-03/07") {
		t.Errorf("%d rows count, expected %d: %q", len(now), len(was), now)
	}
	whole := text(t, filepath.Join(dir, ReadingsFile)) + text(t, filepath.Join(dir, FieldsFile))
	if done := amend(t, dir, a); done.Readings+done.Fields != 0 || done.Unchanged != 6 {
		t.Errorf("again: %+v", done)
	}
	if text(t, filepath.Join(dir, ReadingsFile))+text(t, filepath.Join(dir, FieldsFile)) != whole {
		t.Error("the second call added rows")
	}
	if got := findings(t, dir); got != nil {
		t.Errorf("findings %q", got)
	}
}

// Rows whose string was right already stay as they are, and what was taken back stays
// taken back.
func TestAmendLeavesTheRest(t *testing.T) {
	dir := writtenShop(t, 4, 0)
	takeBack(t, dir, Target{File: ReadingsFile, Row: 3})
	m := correctedMount(t)
	a := Amending{Session: "s001", Mount: m}
	amend(t, dir, a)
	m.PoleHeights = []float64{1, 0.75, 1, 1}
	if done := amend(t, dir, a); done.Readings != 0 || done.Unchanged != 3 {
		t.Errorf("%+v", done)
	}
	if got, want := fmt.Sprint(counted(t, dir)), "[1: 0.75 3: 0.75 4: 0.75]"; got != want {
		t.Errorf("%s count, expected %s", got, want)
	}
}

// A power cut anywhere in between loses no reading but one, which the next call brings
// back; what counts at the end is what counts without a cut.
func TestAmendIsFinishedAfterACrash(t *testing.T) {
	a := Amending{Session: "s001", Mount: correctedMount(t)}
	whole := mistakenShop(t)
	lines := map[string]int{ReadingsFile: 5, FieldsFile: 3} // before amending
	amend(t, whole, a)
	want := counts(t, whole)
	for _, file := range []string{ReadingsFile, FieldsFile} {
		all := strings.SplitAfter(text(t, filepath.Join(whole, file)), "\r\n")
		for kept := lines[file]; kept < len(all); kept++ {
			dir := mistakenShop(t)
			if file == FieldsFile {
				copyFile(t, whole, dir, ReadingsFile)
				copyFile(t, whole, dir, "readings.seals.csv")
			}
			if err := os.WriteFile(filepath.Join(dir, file), []byte(strings.Join(all[:kept], "")), 0o644); err != nil {
				t.Fatal(err)
			}
			if n := len(counts(t, dir)); n < len(want)-1 {
				t.Errorf("%s cut after row %d: %d readings count", file, kept, n)
			}
			odd := (kept-lines[file])%2 == 1
			if said := strings.Contains(strings.Join(findings(t, dir), "\n"), Unfinished); said != odd {
				t.Errorf("%s cut after row %d: verify says that it is unfinished: %v", file, kept, said)
			}
			amend(t, dir, a)
			if got := counts(t, dir); !slices.Equal(got, want) {
				t.Errorf("%s cut after row %d: what counts is\n%s\nexpected\n%s", file, kept, strings.Join(got, "\n"), strings.Join(want, "\n"))
			}
		}
	}
}

func copyFile(t *testing.T, from, to, name string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(to, name), []byte(text(t, filepath.Join(from, name))), 0o644); err != nil {
		t.Fatal(err)
	}
}

// The disk fills up in the middle.
func TestAmendOntoAFullDisk(t *testing.T) {
	a := Amending{Session: "s001", Mount: correctedMount(t)}
	whole := mistakenShop(t)
	amend(t, whole, a)
	for room := 0; room < 1800; room += 100 {
		dir := mistakenShop(t)
		s, err := openWriter(dir, (&tightDisk{room: room, syncs: 1000}).create)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Amend(a, start.Add(time.Hour)); !errors.Is(err, errFull) {
			t.Errorf("room for %d bytes: got %v", room, err)
		}
		s.Close()
		amend(t, dir, a)
		if got, want := counts(t, dir), counts(t, whole); !slices.Equal(got, want) {
			t.Errorf("room for %d bytes: %d rows count, expected %d", room, len(got), len(want))
		}
	}
}

// A session that was filed anew is one of the new mount and of no other.
func TestAmendedSessionGoesOnWithItsMount(t *testing.T) {
	dir := writtenShop(t, 2, 0)
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	first := Hold{Time: start, Session: "s001", Purpose: ForModel, Kind: OfReadings, Jig: "jig-7", Boot: "0000ABCD", Pickup: "T", Mount: "old.toml"}
	if err := errors.Join(s.AddHold(first), s.Close()); err != nil {
		t.Fatal(err)
	}
	a := Amending{Session: "s001", Mount: correctedMount(t)}
	path := filepath.Join(dir, SessionsFile)
	for _, cut := range []bool{true, false, false} { // the first is cut off before the hold
		before := text(t, path)
		amend(t, dir, a)
		if cut {
			if err := os.WriteFile(path, []byte(before), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	if s, err = OpenWriter(dir); err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	all, err := s.Holds()
	name, _ := MountName(a.Mount)
	if err != nil || len(all) != 2 || text(t, filepath.Join(dir, MountsDir, name)) != string(a.Mount.Text) {
		t.Fatalf("%+v, %v", all, err)
	}
	if got := all.Latest(ForModel, OfReadings, name); got != "s001" {
		t.Errorf("the session of the new mount is %q", got)
	}
	if got := all.Latest(ForModel, OfReadings, "old.toml"); got != "" {
		t.Errorf("the session of the old mount is %q", got)
	}
	if got := all.Owner("jig-7", "0000ABCD", 5); got != "s001" {
		t.Errorf("reading 5 belongs to %q", got)
	}
}

func TestAmendRefuses(t *testing.T) {
	rows := func(change func(seq int, r *Reading)) func(*testing.T) string {
		return func(t *testing.T) string {
			dir := t.TempDir()
			s, err := OpenWriter(dir)
			if err != nil {
				t.Fatal(err)
			}
			for seq := 1; seq <= 3; seq++ {
				r := sampleReading(uint32(seq))
				change(seq, &r)
				if err := s.AddReading(&r); err != nil {
					t.Fatal(err)
				}
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			return dir
		}
	}
	for _, tt := range []struct {
		name string
		shop func(*testing.T) string
		want string
	}{
		{"no such session", rows(func(_ int, r *Reading) { r.Session = "s002" }), `session "s001" is not in the record`},
		{"a string too many", rows(func(seq int, r *Reading) { r.String = 2 * seq }), `session "s001" has readings of string 6, which the mount corrected.toml does not have`},
		{"several mountings", rows(func(seq int, r *Reading) { r.PoleHeight = float64(seq) }), `session "s001" has rows of several mountings, and a mount says one: pole_height_mm of string 2 is "1.00" and "2.00"`},
		{"no names", rows(func(_ int, r *Reading) { r.HasSeq = false }), `session "s001" has 3 rows without jig, boot and seq, which cannot be filed anew`},
		{"taken back", func(t *testing.T) string {
			dir := writtenShop(t, 2, 0)
			takeBack(t, dir, Target{Session: "s001"})
			return dir
		}, `session "s001" was taken back`},
	} {
		dir := tt.shop(t)
		before := text(t, filepath.Join(dir, ReadingsFile))
		a := Amending{Session: "s001", Mount: correctedMount(t)}
		var no *RefusedError
		if err := a.Check(dir); !errors.As(err, &no) || err.Error() != tt.want {
			t.Errorf("%s: got %v\nexpected %s", tt.name, err, tt.want)
		}
		s, err := OpenWriter(dir)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Amend(a, start); !errors.As(err, &no) {
			t.Errorf("%s: got %v", tt.name, err)
		}
		s.Close()
		if text(t, filepath.Join(dir, ReadingsFile)) != before {
			t.Errorf("%s: something was written", tt.name)
		}
	}
}
