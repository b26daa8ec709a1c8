package table

import (
	"bytes"
	"strings"
	"testing"
)

// What a spreadsheet would work out is written with an apostrophe and read as it was.
func TestNoCellIsAFormula(t *testing.T) {
	for text, want := range map[string]string{
		"=1+1": "'=1+1", "+1+1": "'+1+1", "-1+1": "'-1+1", "@SUM(A1)": "'@SUM(A1)", "\t=1": "'\t=1", "\r=1": "'\r=1", "-": "'-", "- slipped": "'- slipped",
		"": "", "T-3": "T-3", "-0.50": "-0.50", "+12": "+12", "-1e-3": "-1e-3", "-inf": "'-inf", "'": "'", "'old'": "'old'", "a=b": "a=b",
		"'=1": "''=1", "''-2": "'''-2", "'-2": "''-2",
	} {
		if got := Guarded(text); got != want {
			t.Errorf("%q is written as %q, expected %q", text, got, want)
		}
		if got := Plain(Guarded(text)); got != text {
			t.Errorf("%q is read as %q", text, got)
		}
		var file bytes.Buffer
		if err := WriteLines(&file, true, []string{"a", text}); err != nil {
			t.Fatal(err)
		}
		r, _ := NewCSV(strings.NewReader(file.String()))
		if row, err := r.Read(); err != nil || row[1] != strings.ReplaceAll(want, "\r\n", "\n") {
			t.Errorf("%q is written as %q, %v", text, row, err)
		}
	}
}
