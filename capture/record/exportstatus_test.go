package record

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"evenpole/capture/record/table"
)

// What a filter of statuses lets through is what stands once all rows are known, in whatever
// order readings were taken back, filed anew and repeated.
func TestExportByStatus(t *testing.T) {
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(seed, 1))
		var rows []table.Row
		for i := range 5 + rng.IntN(40) {
			r := sampleReading(uint32(1 + rng.IntN(12)))
			r.Take = i + 1
			r.Status = []Status{OK, OK, "", Clipped, Retracted}[rng.IntN(5)]
			if rng.IntN(10) == 0 {
				r.HasSeq = false
			}
			rows = append(rows, readingColumns.Row(&r))
		}
		dir := t.TempDir()
		s, err := OpenWriter(dir)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.readings.append(rows...); err != nil {
			t.Fatal(err)
		}
		for _, status := range []Status{OK, Clipped, Retracted} {
			for _, export := range []func(context.Context, io.Writer, string, string, Filter) (int, error){Export, ExportOnce} {
				var out bytes.Buffer
				n, err := export(context.Background(), &out, dir, ReadingsFile, Filter{Statuses: []Status{status}})
				if err != nil {
					t.Fatal(err)
				}
				got := takesOf(t, &out)
				if want := takesOfStatus(t, dir, status); n != len(want) || !slices.Equal(got, want) {
					t.Errorf("seed %d, %s: %d rows, takes %v, expected %v", seed, status, n, got, want)
				}
			}
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// takesOf are the takes of CSV, row by row.
func takesOf(t *testing.T, r io.Reader) (takes []int) {
	t.Helper()
	for x, err := range Readings(r, "export") {
		if err != nil {
			t.Fatal(err)
		}
		takes = append(takes, x.Take)
	}
	return takes
}

// takesOfStatus are the takes of the rows that have a status once all of them were met.
func takesOfStatus(t *testing.T, dir string, status Status) (takes []int) {
	t.Helper()
	var standing Standing
	var all []Reading
	var refs []Ref
	for r, err := range ReadFile(filepath.Join(dir, ReadingsFile), Readings) {
		if err != nil {
			t.Fatal(err)
		}
		ref, _ := standing.Meet(&r)
		all, refs = append(all, r), append(refs, ref)
	}
	for i, r := range all {
		is := r.Status
		if is == "" {
			is = OK
		}
		if standing.IsTakenBack(refs[i]) {
			is = Retracted
		}
		if is == status {
			takes = append(takes, r.Take)
		}
	}
	return takes
}

// In one reading the rows before one that cannot be read are written, and the error has its
// place.
func TestExportOnceEndsWithARowThatCannotBeRead(t *testing.T) {
	dir := writtenShop(t, 5, 0)
	edit(t, filepath.Join(dir, ReadingsFile), func(l []string) []string {
		l[3] = strings.Replace(l[3], "10.003", "1O.003", 1)
		return l
	})
	for _, f := range []Filter{{}, {Statuses: []Status{OK}}} {
		var out bytes.Buffer
		n, err := ExportOnce(context.Background(), &out, dir, ReadingsFile, f)
		if bad := (*RowError)(nil); !errors.As(err, &bad) || bad.Line != 4 || bad.Column != "rms_mv" || n != 2 || len(takesOf(t, &out)) != 2 {
			t.Errorf("%d rows, %v", n, err)
		}
	}
}
