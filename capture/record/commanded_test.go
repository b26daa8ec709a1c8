package record

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// capturedShop is a shop as captures leave it: s001 took readings 1 to 4 of a power-up, s002
// field readings 5 and 6, and s003 readings 7 to 9 of the same one and 1 and 2 after a restart.
func capturedShop(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	w, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	hold := func(session, kind, boot string, after uint32) error {
		h := Hold{Time: start, Session: session, Kind: kind, Jig: "jig-7", Boot: boot, AfterSeq: after}
		if session != "" {
			h.Purpose, h.Pickup, h.Mount = ForModel, "T-4", "T-4-0123.toml"
		}
		return w.AddHold(h)
	}
	readings := func(session, boot string, from, n int) error {
		rows := someReadings(from, n)
		for _, row := range rows {
			*readingColumns.Cell(row, "session"), *readingColumns.Cell(row, "boot") = session, boot
		}
		return w.readings.append(rows...)
	}
	const boot, again = "0000ABCD", "0000ABCE"
	err = errors.Join(
		hold("s001", OfReadings, boot, 0), readings("s001", boot, 1, 4), hold("", "", boot, 4),
		hold("s002", OfFields, boot, 4), w.fields.append(someFields(5, 2)...), hold("", "", boot, 6),
		hold("s003", OfReadings, boot, 6), readings("s003", boot, 7, 3),
		hold("s003", OfReadings, again, 0), readings("s003", again, 1, 2), hold("", "", again, 2),
		w.Close())
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

// told are the faults that Verify finds in sessions.csv, as a person reads them.
func toldOfSessions(t *testing.T, dir string) (told []string) {
	t.Helper()
	_, err := Verify(context.Background(), dir, func(f Finding) {
		if filepath.Base(f.File) != SessionsFile {
			return
		}
		if !f.Fault {
			t.Errorf("a remark: %v", f)
		}
		told = append(told, strings.TrimPrefix(f.String(), dir+string(filepath.Separator)))
	})
	if err != nil {
		t.Fatal(err)
	}
	return told
}

// Rows that sessions.csv lost are told where readings that a capture wrote say what stood
// there.
func TestVerifyMissesRowsOfSessions(t *testing.T) {
	lost := func(session, boot, rows string) string {
		return fmt.Sprintf(`sessions.csv: missing: no row says that session %q had jig "jig-7", boot %s, as %s have it: `, session, boot, rows)
	}
	first, fields := lost("s001", "0000ABCD", "rows 2 to 5 of readings.csv"), lost("s002", "0000ABCD", "rows 2 to 3 of fields.csv")
	third, again := lost("s003", "0000ABCD", "rows 6 to 8 of readings.csv"), lost("s003", "0000ABCE", "rows 9 to 10 of readings.csv")
	tests := []struct {
		name   string
		change func(lines []string) []string
		want   []string // beginnings
	}{
		{"nothing", func(l []string) []string { return l }, nil},
		{"the end of the last session", func(l []string) []string { return l[:7] }, nil},
		{"the last session", func(l []string) []string { return l[:5] }, []string{third, again}},
		{"its power-up after a restart", func(l []string) []string { return l[:6] }, []string{again}},
		{"rows in the middle", func(l []string) []string { return slices.Delete(l, 3, 6) }, []string{third, fields}},
		{"a session whose jig another one had before", func(l []string) []string { return slices.Delete(l, 2, 4) }, []string{fields}},
		{"the first session", func(l []string) []string { return slices.Delete(l, 1, 2) }, []string{first}},
		{"all but the header", func(l []string) []string { return l[:1] }, []string{first, third, again, fields}},
		{"all of it", func([]string) []string { return nil }, []string{first, third, again, fields}},
		{"half a row, and what followed", func(l []string) []string { return append(l[:5], l[5][:20]) },
			[]string{third, again, "sessions.csv:6: unreadable: "}},
		{"the header", func(l []string) []string { return l[1:] }, []string{"sessions.csv:1: unreadable: time, session, "}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			dir := capturedShop(t)
			edit(t, filepath.Join(dir, SessionsFile), tt.change)
			got := toldOfSessions(t, dir)
			if len(got) != len(tt.want) || !slices.EqualFunc(got, tt.want, strings.HasPrefix) {
				t.Errorf("got %q\nexpected %q", got, tt.want)
			}
		})
	}
}

// Nothing is missed of sessions.csv by readings that no capture wrote there, nor where there
// never was one.
func TestVerifyMissesNoSessionsThatWereNotCaptured(t *testing.T) {
	tests := map[string]struct {
		add    []string // files of a shop without sessions.csv that are copied
		rows   func(row []string)
		sealed bool // on request
	}{
		"no sessions.csv":     {add: []string{ReadingsFile, "readings.seals.csv"}},
		"a log copied":        {add: []string{ReadingsFile}},
		"sealed as it stands": {add: []string{ReadingsFile}, sealed: true},
		"imported":            {rows: func(row []string) { *readingColumns.Cell(row, "session") = "import-log-s001" }},
		"numbered by import":  {rows: func(row []string) { *readingColumns.Cell(row, "jig") = importJig }},
		"left over":           {rows: func(row []string) { *readingColumns.Cell(row, "session") = "" }},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			dir, from := t.TempDir(), writtenShop(t, 5, 0)
			for _, file := range tt.add {
				copyFile(t, from, dir, file)
			}
			w, err := OpenWriter(dir)
			if err != nil {
				t.Fatal(err)
			}
			defer w.Close()
			if name != "no sessions.csv" {
				if err := w.AddHold(Hold{Time: start, Session: "s009", Purpose: ForModel, Kind: OfReadings, Jig: "jig-7", Boot: "0000FFFF", Pickup: "T-5", Mount: "T-5-0123.toml"}); err != nil {
					t.Fatal(err)
				}
			}
			if tt.rows != nil {
				rows := someReadings(1, 3)
				for _, row := range rows {
					tt.rows(row)
				}
				if err := w.readings.append(rows...); err != nil {
					t.Fatal(err)
				}
			}
			if tt.sealed {
				if _, err := w.Seal(start); err != nil {
					t.Fatal(err)
				}
			}
			if got := toldOfSessions(t, dir); got != nil {
				t.Errorf("told %q", got)
			}
		})
	}
}
