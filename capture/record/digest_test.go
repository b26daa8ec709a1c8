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

	"evenpole/capture/record/table"
)

// sealedDigests has a record sealed as it stands, and returns the digest of each row.
func sealedDigests(t *testing.T, file, content string) (all []string) {
	t.Helper()
	s := mustShop(t, map[string]string{file: content})
	if _, err := s.Seal(start); err != nil {
		t.Fatal(err)
	}
	return digestsIn(t, sealsPath(s.path(file)))
}

// digestsIn returns the second column of a file of seals.
func digestsIn(t *testing.T, path string) (all []string) {
	t.Helper()
	for _, line := range strings.Split(strings.TrimSpace(text(t, path)), "\r\n")[1:] {
		all = append(all, strings.Split(line, ",")[1])
	}
	return all
}

// Digests that stand in shops do not change. Expected values: SHA-256 of the text
// that the comment of seal describes, made by another program; the first three of
// readings say the same.
func TestDigestsStay(t *testing.T) {
	wide := header + ",mine\r\n"
	readings := wide + strings.Join([]string{
		firstRow + `,`,
		`2026-03-04T04:06:07.089Z ,s001, model,jig-7,0000ABCD,1,"T ""4"", new",M-03, 2,,0.33,0.33000,plain,-0.050,3.1250,P,3,12.3,45.67800,246.9,500.0,0.40,travel,,,x`,
		`2026-03-04T04:06:07.089Z,s001,model,jig-7,0000ABCD,1,"T ""4"", new",M-03,2,,0.3300,0.3300,plain,-0.05,3.125,P,3,12.300,45.678,246.900,500,0.4000,travel,,,`,
		`,,,,,,,,,,,,,,,,,,,,,,,,,`,
		`,,,,,,"two` + "\r\n" + `lines",,6,nine,0.2540,1.1680,nickel,0,3.00,Q,10,0.000,0,0,500.250,,drive,clipped,"a` + "\n" + `b` + "\r\n" + `c ",`,
		`not a time,s1,fun,é,,x,,,13,,-1,1e3,,0x10,+3.50,p,0,loud,.,.40,5.,NaN,,good,"  ",`,
	}, "\r\n") + "\r\n"
	fields := fieldHead + "\n" + strings.Join([]string{
		`2026-03-04T05:06:07.000Z,s002,jig-7,0000ABCD,4294967295,M-03,M-03/01,,,1,3,-234.70,0.50,ok,`,
		`2026-03-04T05:06:07.000Z,s002,jig-7,0000ABCD,0,M-03,,T-1,12,1,3,234.705,0.5,retracted,"taken back: ` + "\r\n" + ` moved"`,
		`,,,,,,,,,,,0.00,,,`,
	}, "\n") + "\n"
	for _, x := range []struct {
		file, content string
		want          []string
	}{
		{ReadingsFile, readings, []string{"7740f5bdf0096e84", "7740f5bdf0096e84", "7740f5bdf0096e84", "e3b0c44298fc1c14", "5c4920440e745d32", "076537823c482a7c"}},
		{FieldsFile, fields, []string{"9f16ee2146b65c42", "30f25489c1d602c2", "7918c8410bf160ea"}},
	} {
		if got := sealedDigests(t, x.file, x.content); !slices.Equal(got, x.want) {
			t.Errorf("%s: got %q\nexpected %q", x.file, got, x.want)
		}
	}
}

// The digests of rows that a capture writes are those of the rows that stand in the
// file.
func TestDigestsOfWrittenRows(t *testing.T) {
	s := mustShop(t, nil)
	r := Reading{
		Time: time.Date(2026, 3, 4, 5, 6, 7, 89e6, time.FixedZone("", 3600)), Session: "s001", Purpose: ForCheck,
		Jig: "jig-7", Boot: "0000ABCD", HasSeq: true, Pickup: " T-4 ", String: 2, StringSet: "two, light",
		Core: 0.254, Gauge: 0.2540, Wrap: "my own", PoleHeight: -0.00001, StringHeight: 3, Mode: Drive, Take: 1,
		RMS: 12, Peak: 45.6, Freq: 0, Window: 500.25, Quiet: 0, Excite: "drive", Status: DoubleStrike, Note: "a\r\nb\nc",
	}
	f := FieldReading{Time: start, Session: "s002", Jig: "jig-7", Boot: "0000ABCD", Seq: 2, HasSeq: true, Batch: "M-03",
		Magnet: "M-03/01", Position: 1, Take: 3, Field: -234.7, ProbeGap: 0.5, Status: OK, Note: "left\r\nover"}
	if err := s.AddReading(&r); err != nil {
		t.Fatal(err)
	}
	if err := s.AddField(&f); err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, name := range []string{ReadingsFile, FieldsFile} {
		got = append(got, digestsIn(t, sealsPath(s.path(name)))...)
		content, err := os.ReadFile(s.path(name))
		if err != nil {
			t.Fatal(err)
		}
		if standing := sealedDigests(t, filepath.Base(name), string(content)); standing[0] != got[len(got)-1] {
			t.Errorf("%s: sealed as %s when it was written, as %s where it stands", name, got[len(got)-1], standing[0])
		}
	}
	if want := []string{"47d3e285aa18bce8", "7741b59c249dfec7"}; !slices.Equal(got, want) {
		t.Errorf("got %q\nexpected %q", got, want)
	}
}

// A row that was added and the same row read back say the same, so that takes of both are
// of one string: a core that was estimated from the gauge has more decimals than the file.
func TestAddedRowsAreAsTheFileHasThem(t *testing.T) {
	s := mustShop(t, nil)
	r := sampleReading(7)
	r.Core, r.PoleHeight, r.Quiet = 0.33047123, 0.4191876, 0.3586666
	f := FieldReading{Time: start, Session: "s002", Jig: "jig-7", Boot: "0000ABCD", Seq: 2, HasSeq: true, Batch: "M-03",
		Magnet: "M-03/01", Position: 1, Take: 3, Field: -234.71234, ProbeGap: 0.50804321, Status: OK}
	if err := errors.Join(s.AddReading(&r), s.AddField(&f)); err != nil {
		t.Fatal(err)
	}
	r.Line, f.Line = 2, 2
	for back, err := range ReadFile(s.path(ReadingsFile), Readings) {
		if err != nil || fmt.Sprintf("%+v", back) != fmt.Sprintf("%+v", r) {
			t.Errorf("added:     %+v\nread back: %+v, %v", r, back, err)
		}
	}
	for back, err := range ReadFile(s.path(FieldsFile), Fields) {
		if err != nil || fmt.Sprintf("%+v", back) != fmt.Sprintf("%+v", f) {
			t.Errorf("added:     %+v\nread back: %+v, %v", f, back, err)
		}
	}
}

// What a seal covers depends on which columns have a unit: those of numbers, and the
// name of each ends in it.
func TestColumnsOfNumbersEndInAUnit(t *testing.T) {
	for _, l := range []*table.Layout{readingColumns.Layout, fieldColumns.Layout, holdColumns.Layout, sealColumns.Layout} {
		for i, name := range l.Names {
			_, unit, _ := strings.Cut(name[max(strings.LastIndex(name, "_"), 0):], "_")
			if got := slices.Contains([]string{"mm", "mv", "mt", "hz", "ms"}, unit); got != l.Number[i] {
				t.Errorf("%s: a column of numbers %v, with a unit %v", name, l.Number[i], got)
			}
		}
	}
}
