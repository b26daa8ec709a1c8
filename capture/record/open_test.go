package record

import (
	"strings"
	"testing"
)

// A reader sees whole rows only, while a writer is at work.
func TestReadersSeeWholeRows(t *testing.T) {
	for size, tail := range []string{"", "x", strings.Repeat("y", 5000)} {
		s := mustShop(t, nil)
		if err := s.readings.append(sampleRow(1)); err != nil {
			t.Fatal(err)
		}
		whole := text(t, s.path(ReadingsFile))
		if _, err := s.readings.file.Write([]byte(tail)); err != nil {
			t.Fatal(err)
		}
		for _, writing := range []bool{true, false} {
			if !writing { // a person's file may end without an end of line
				s.Close()
				whole += tail
			}
			f, err := openNow(s.path(ReadingsFile))
			if err != nil {
				t.Fatal(err)
			}
			got := make([]byte, f.Size())
			if _, err := f.Read(got); err != nil || string(got) != whole {
				t.Errorf("tail %d, writing %v: %q, %v", size, writing, got, err)
			}
			f.Close()
		}
	}
}
