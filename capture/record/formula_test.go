package record

import (
	"bytes"
	"context"
	"path/filepath"
	"strings"
	"testing"
)

// A text that a spreadsheet would take for a formula is none in the record and in what is
// exported from it, and is the same text wherever it is read.
func TestNoFormulaInARecord(t *testing.T) {
	const note, pickup = "=1+1", "-old"
	s, _ := oneRow(t)
	dir := s.Dir
	r := Reading{Session: "s002", Jig: "jig-7", Boot: "0000ABCD", Seq: 2, HasSeq: true, Pickup: pickup, String: 1, Core: 0.254, Gauge: 0.254, PoleHeight: -0.5, StringHeight: 3, RMS: 12, Note: note}
	if err := s.AddReading(&r); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, ReadingsFile)
	file := text(t, path)
	if !strings.Contains(file, ",'=1+1") || !strings.Contains(file, ",'-old,") || !strings.Contains(file, ",-0.50,") {
		t.Errorf("written:\n%s", file)
	}
	rows, err := Sift[Reading](ReadFile(path, Readings), nil)
	if err != nil || rows[1].Row.Note != note || rows[1].Row.Pickup != pickup {
		t.Errorf("read: %+v, %v", rows, err)
	}
	noFaults(t, dir, "as it was written")

	// Older versions wrote such texts as they are.
	edit(t, path, func(l []string) []string {
		l[2] = strings.Replace(strings.Replace(l[2], "'=", "=", 1), "'-", "-", 1)
		return l
	})
	noFaults(t, dir, "as older versions wrote it")
	var out bytes.Buffer
	if n, err := Export(context.Background(), &out, dir, ReadingsFile, Filter{Pickups: []string{pickup}}); n != 1 || err != nil || !strings.Contains(out.String(), ",'=1+1") {
		t.Errorf("%d rows exported, %v:\n%s", n, err, out.String())
	}
	if m := understood(t, out.String(), dir, ImportOptions{}); m.Already != 1 {
		t.Errorf("imported again: %+v", m)
	}
}
