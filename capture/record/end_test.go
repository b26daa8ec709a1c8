package record

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// A long record's rows without seals are found from its end as they are found by reading
// all of it, whatever stands in it.
func TestRowsAfterOfALongRecord(t *testing.T) {
	const n = 12_000
	var b bytes.Buffer
	b.WriteString("session,jig,boot,seq,string,core_mm,pole_height_mm,string_height_mm,rms_mv,note\n")
	for i := range n {
		fmt.Fprintf(&b, "s001,jig-7,0000ABCD,%d,%d,0.25,1,3,%d,%s\n", i+1, 1+i%6, i+1, strings.Repeat("x", 60))
	}
	plain := strings.SplitAfter(b.String(), "\n")
	digests := func(lines []string) (all []string) {
		for row := range digestRows(strings.NewReader(strings.Join(lines, "")), "r", readingColumns.Layout) {
			all = append(all, string(row.digest[:]))
		}
		return all
	}
	of := digests(plain)
	for name, change := range map[string]func(lines []string) []string{
		"as written":   func(l []string) []string { return l },
		"no last line": func(l []string) []string { return append(l[:n], strings.TrimSuffix(l[n], "\n")) },
		"blank line":   func(l []string) []string { return slices.Insert(l, 5, "\n") },
		"two lines in a cell": func(l []string) []string {
			l[9] = strings.Replace(l[9], "xx", `"x`+"\n", 1)
			l[9] = strings.Replace(l[9], `,"x`, `,"x`, 1)
			l[9] = strings.TrimSuffix(l[9], "\n") + "\"\n"
			return l
		},
		"a row gone":    func(l []string) []string { return slices.Delete(l, 7, 8) },
		"a row altered": func(l []string) []string { l[n-3] = strings.Replace(l[n-3], "x", "y", 1); return l },
		"too few cells": func(l []string) []string { l[3] = "s001\n"; return l },
		"header alone":  func(l []string) []string { return l[:1] },
		"CR LF":         func(l []string) []string { return strings.SplitAfter(strings.Join(l, "\r"), "\n") },
	} {
		path := filepath.Join(t.TempDir(), ReadingsFile)
		lines := change(slices.Clone(plain))
		text := strings.Join(lines, "")
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		for _, last := range []seal{{}, {row: 1, digest: of[0]}, {row: n - 2, digest: of[n-3]}, {row: n, digest: of[n-1]}, {row: n + 7, digest: of[n-1]}, {row: n - 3, digest: of[n-4]}} {
			wantRows, want, _, err := digestsAfter(strings.NewReader(text), 0, path, readingColumns.Layout, last)
			rows, got, gotErr := rowsAfter(path, readingColumns.Layout, last)
			if rows != wantRows || !slices.Equal(got, want) || fmt.Sprint(err) != fmt.Sprint(gotErr) {
				t.Errorf("%s, last seal of row %d: %d rows, %d after it, %v; want %d, %d, %v", name, last.row, rows, len(got), gotErr, wantRows, len(want), err)
			}
		}
		wantRows, _, _, _ := digestsAfter(strings.NewReader(text), 0, path, readingColumns.Layout, seal{})
		if rows, err := countRows(path, readingColumns.Layout); err != nil || rows != wantRows {
			t.Errorf("%s: %d rows, %v; want %d", name, rows, err, wantRows)
		}
	}
}

// The last seal of a long file is found from its end.
func TestLastSealOfALongFile(t *testing.T) {
	var last seal
	lines := []string{"row,digest,chain,remark\r\n"}
	for i := range 60_000 {
		last = seal{row: i + 1, digest: fmt.Sprintf("%016x", i)}.after(last)
		lines = append(lines, strings.Join(sealColumns.Row(&last), ",")+"\r\n")
	}
	for name, change := range map[string]func(lines []string) []string{
		"as written":   func(l []string) []string { return l },
		"torn":         func(l []string) []string { return append(l, "60001,00") },
		"altered":      func(l []string) []string { l[len(l)-1] = "60000,0,0,\r\n"; return l },
		"quotes":       func(l []string) []string { l[3] = "3,\"0000000000000002\r\n"; return l },
		"end is gone":  func(l []string) []string { return append(l[:20_000], strings.Repeat("1,x,y,\r\n", 200_000)) },
		"wrong header": func(l []string) []string { l[0] = "row,digest,chains,remark\r\n"; return l },
	} {
		path := filepath.Join(t.TempDir(), "readings.seals.csv")
		text := strings.Join(change(slices.Clone(lines)), "")
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		want, wantErr := lastSealOf(strings.NewReader(text), path)
		got, err := lastSeal(path)
		got.line, want.line = 0, 0
		if got != want || fmt.Sprint(err) != fmt.Sprint(wantErr) {
			t.Errorf("%s: %+v, %v; want %+v, %v", name, got, err, want, wantErr)
		}
	}
}
