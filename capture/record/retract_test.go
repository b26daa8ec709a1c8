package record

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestRetract(t *testing.T) {
	dir := writtenShop(t, 5, 2)
	before := text(t, filepath.Join(dir, ReadingsFile))
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	now := start.Add(time.Hour)
	one := Target{Jig: "jig-7", Boot: "0000ABCD", Seq: 2}
	if done, err := s.Retract(one, "  hit\r\nthe  pole ", now); err != nil || done != (Retraction{Readings: 1}) {
		t.Fatalf("%+v, %v", done, err)
	}
	want := strings.NewReplacer("2026-03-04T05:06:09.000Z", "2026-03-04T06:06:07.000Z", ",ok,", ",retracted,taken back: hit the pole").Replace(strings.SplitAfter(before, "\r\n")[2])
	if got := text(t, filepath.Join(dir, ReadingsFile)); got != before+want {
		t.Errorf("the record became\n%s\nexpected at its end\n%s", got, want)
	}
	for _, tt := range []struct {
		target Target
		want   Retraction
		err    string
	}{
		{one, Retraction{}, `reading 2 of jig "jig-7", boot 0000ABCD was taken back already`},
		{Target{File: ReadingsFile, Row: 3}, Retraction{}, `row 3 of readings.csv was taken back already`},
		{Target{File: ReadingsFile, Row: 7}, Retraction{}, `row 7 of readings.csv takes another row back itself`},
		{Target{File: ReadingsFile, Row: 1}, Retraction{}, `row 1 of readings.csv is not in the record`},
		{Target{Jig: "jig-8", Boot: "0000ABCD", Seq: 3}, Retraction{}, `reading 3 of jig "jig-8", boot 0000ABCD is not in the record`},
		{Target{Session: "s009"}, Retraction{}, `session "s009" is not in the record`},
		{Target{File: ReadingsFile, Row: 4}, Retraction{Readings: 1}, ""},
		{Target{Session: "s001"}, Retraction{Readings: 3, Already: 2}, ""},
		{Target{Session: "s001"}, Retraction{}, `session "s001" was taken back already`},
		{Target{Jig: "jig-7", Boot: "0000ABCD", Seq: 7}, Retraction{Fields: 1}, ""},
		{Target{File: FieldsFile, Row: 2}, Retraction{Fields: 1}, ""},
	} {
		done, err := s.Retract(tt.target, "", now)
		var no *RefusedError
		switch {
		case tt.err == "" && (err != nil || done != tt.want):
			t.Errorf("%v: %+v, %v", &tt.target, done, err)
		case tt.err != "" && (!errors.As(err, &no) || err.Error() != tt.err):
			t.Errorf("got %v\nexpected %s", err, tt.err)
		}
	}
	noFaults(t, dir, "after all")
	h, err := s.History("jig-7", "0000ABCD", "s001")
	if err != nil {
		t.Fatal(err)
	}
	for _, take := range h.Takes {
		if take.Good {
			t.Errorf("a take counts still: %+v", take)
		}
	}
}

func TestRowsWithoutANameCannotBeTakenBack(t *testing.T) {
	dir := t.TempDir()
	file := "session,string,core_mm,pole_height_mm,string_height_mm,rms_mv\nold,1,0.25,0,3,12\n"
	if err := os.WriteFile(filepath.Join(dir, ReadingsFile), []byte(file), 0o644); err != nil {
		t.Fatal(err)
	}
	target := Target{Session: "old"}
	if err := target.Check(dir); err == nil || err.Error() != `session "old" has no jig, boot and seq to take it back by` {
		t.Errorf("got %v", err)
	}
}

// An older fields file cannot say that a row is taken back. Nothing is done then,
// not even to readings of the same session.
func TestAFieldsFileWithoutStatusTakesNothingBack(t *testing.T) {
	dir := writtenShop(t, 2, 0)
	head := strings.TrimSuffix(fieldHead, ",status,note") + "\r\n,s001,jig-7,0000ABCD,9,,,,,1,1,5,\r\n"
	if err := os.WriteFile(filepath.Join(dir, FieldsFile), []byte(head), 0o644); err != nil {
		t.Fatal(err)
	}
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	before := text(t, filepath.Join(dir, ReadingsFile))
	if _, err := s.Retract(Target{Session: "s001"}, "", start); err == nil || !strings.Contains(err.Error(), `the file has no column "status"`) {
		t.Errorf("got %v", err)
	}
	if text(t, filepath.Join(dir, ReadingsFile)) != before || text(t, filepath.Join(dir, FieldsFile)) != head {
		t.Error("something was written")
	}
}

func TestExport(t *testing.T) {
	dir := writtenShop(t, 5, 2)
	path := filepath.Join(dir, ReadingsFile)
	edit(t, path, func(l []string) []string {
		for i := range l {
			l[i] = strings.TrimSuffix(l[i], "\r\n") + ",mine\r\n"
		}
		l[2] = strings.Replace(l[2], "M-03", "M-04", 1)
		l[3] = strings.Replace(l[3], ",ok,", ",clipped,", 1)
		return append(l, strings.Replace(l[5], ",ok,", ",retracted,", 1))
	})
	whole := strings.SplitAfter(text(t, path), "\r\n")
	tests := []struct {
		name   string
		filter Filter
		want   []int // rows
	}{
		{"all", Filter{}, []int{2, 3, 4, 5, 6, 7}},
		{"a batch", Filter{Batches: []string{"M-04"}}, []int{3}},
		{"either batch", Filter{Batches: []string{"M-04", "M-03"}}, []int{2, 3, 4, 5, 6, 7}},
		{"what counts", Filter{Statuses: []Status{OK}}, []int{2, 3, 5}},
		{"what was taken back", Filter{Statuses: []Status{Retracted}}, []int{6, 7}},
		{"days", Filter{Since: start.Add(3 * time.Second), Before: start.Add(5 * time.Second)}, []int{4, 5}},
		{"a purpose and a pickup", Filter{Purposes: []Purpose{ForModel}, Pickups: []string{`T "4", new`}, Sessions: []string{"s001"}}, []int{2, 3, 4, 5, 6, 7}},
		{"nothing", Filter{Purposes: []Purpose{ForCheck}}, nil},
	}
	for _, tt := range tests {
		var got bytes.Buffer
		n, err := Export(context.Background(), &got, dir, ReadingsFile, tt.filter)
		want := whole[0]
		for _, row := range tt.want {
			want += whole[row-1]
		}
		if err != nil || n != len(tt.want) || got.String() != want {
			t.Errorf("%s: %d rows, %v\n%s", tt.name, n, err, got.String())
		}
	}
}

// A field reading has no purpose of its own.
func TestExportFields(t *testing.T) {
	dir := writtenShop(t, 0, 2)
	sessions := strings.Join(neededOfHolds, ",") + "\n,s002,batch,fields,jig-7,0000ABCD,0,,m.toml\n"
	if err := os.WriteFile(filepath.Join(dir, SessionsFile), []byte(sessions), 0o644); err != nil {
		t.Fatal(err)
	}
	for purpose, want := range map[Purpose]int{ForBatch: 2, ForModel: 0} {
		var got bytes.Buffer
		if n, err := Export(context.Background(), &got, dir, FieldsFile, Filter{Purposes: []Purpose{purpose}}); err != nil || n != want {
			t.Errorf("%s: %d rows, %v", purpose, n, err)
		}
	}
}

func TestExportErrors(t *testing.T) {
	dir := writtenShop(t, 5, 0)
	var got bytes.Buffer
	if _, err := Export(context.Background(), &got, dir, FieldsFile, Filter{}); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v", err)
	}
	edit(t, filepath.Join(dir, ReadingsFile), func(l []string) []string { l[2] = strings.Replace(l[2], "10.002", "loud", 1); return l })
	var row *RowError
	if n, err := Export(context.Background(), &got, dir, ReadingsFile, Filter{}); !errors.As(err, &row) || row.Line != 3 || n != 0 || got.Len() > 0 {
		t.Errorf("%d rows, %v, %q", n, err, got.String())
	}
	if _, err := Export(context.Background(), &failing{Appender: memory{io.Discard}}, writtenShop(t, 1, 0), ReadingsFile, Filter{}); err == nil {
		t.Error("a disk that is full goes unnoticed")
	}
}
