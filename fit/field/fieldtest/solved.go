// Package fieldtest gives tests the levels that a field solver computed, see testdata/README.md.
package fieldtest

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"testing"
)

// Solved is one level that the field solver of testdata computed.
type Solved struct {
	Case        string
	String      string  // as the table has it: its diameter, or gauge/core of a wound one, mm
	Gauge, Core float64 // mm; the same of a plain string
	Height, Gap float64 // mm: the pole's top over the bobbin plane, and the string's underside over that
	DB          float64 // level, dB; its zero is arbitrary, and the same in all cases
}

// Plain reports whether the string is plain.
func (s *Solved) Plain() bool { return s.Gauge == s.Core }

// Levels are all of them. The test's folder is two below the top of the repository.
func Levels(t testing.TB) []Solved {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "field_solver", "levels.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var all []Solved
	for _, row := range rows[1:] {
		s := Solved{Case: row[0], String: row[1]}
		if n, _ := fmt.Sscanf(row[1], "%g/%g", &s.Gauge, &s.Core); n == 1 {
			s.Core = s.Gauge
		} else if n == 0 {
			t.Fatalf("a string of %q", row[1])
		}
		if _, err := fmt.Sscan(row[2]+" "+row[3]+" "+row[4], &s.Height, &s.Gap, &s.DB); err != nil {
			t.Fatal(err)
		}
		all = append(all, s)
	}
	return all
}
