package record

import (
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"testing/iotest"
)

const need = "string,core_mm,pole_height_mm,string_height_mm,rms_mv"

func TestReadingErrors(t *testing.T) {
	tests := []struct {
		name, file string
		want       string
	}{
		{"empty file", "", `r.csv:1: expected a header row, got an empty file`},
		{"only blank lines", "\n\n", `r.csv:1: expected a header row, got an empty file`},
		{"a column is missing", "string,core_mm,pole_height_mm,rms_mv\n", `r.csv:1: string_height_mm: expected in the header, got "string,core_mm,pole_height_mm,rms_mv"`},
		{"columns are missing", "\nstring;core_mm\n", `r.csv:2: string, core_mm, pole_height_mm, string_height_mm, rms_mv: expected in the header, got "string;core_mm": save it with commas between cells and decimal points`},
		{"a column twice", need + ",rms_mv\n", `r.csv:1: rms_mv: expected the column once, got it twice`},
		{"text for a number", need + "\n1,.25,0,3,loud\n", `r.csv:2: rms_mv: expected a number, got "loud"`},
		{"a decimal comma", need + "\n1,.25,0,\"3,5\",1\n", `r.csv:2: string_height_mm: expected a number, got "3,5"`},
		{"NaN", need + "\n1,.25,NaN,3,1\n", `r.csv:2: pole_height_mm: expected a number, got "NaN"`},
		{"Inf", need + "\n1,.25,0,-Inf,1\n", `r.csv:2: string_height_mm: expected a number, got "-Inf"`},
		{"too large", need + "\n1,.25,0,3,1e999\n", `r.csv:2: rms_mv: expected a number, got "1e999"`},
		{"a level beyond 2^53", need + "\n1,.25,0,3,9007199254740993\n", `r.csv:2: rms_mv: expected a number below 9007199254740992 (2^53), above which whole numbers are not told apart, got "9007199254740993"`},
		{"a height beyond 2^53", need + "\n1,.25,-1e16,3,1\n", `r.csv:2: pole_height_mm: expected a number below 9007199254740992 (2^53), above which whole numbers are not told apart, got "-1e16"`},
		{"a take beyond 2^63", need + ",take\n1,.25,0,3,1,9223372036854775808\n", `r.csv:2: take: expected a whole number from 1, got "9223372036854775808"`},
		{"hexadecimal", need + "\n1,0x1p-2,0,3,1\n", `r.csv:2: core_mm: expected a number, got "0x1p-2"`},
		{"a negative level", need + "\n1,.25,0,3,-0.1\n", `r.csv:2: rms_mv: expected 0 or more, got "-0.1"`},
		{"no core", need + "\n1,0,0,3,1\n", `r.csv:2: core_mm: expected 0.0001 or more, got "0"`},
		{"string 0", need + "\n0,.25,0,3,1\n", `r.csv:2: string: expected a whole number from 1 to 12, got "0"`},
		{"string 13", need + "\n13,.25,0,3,1\n", `r.csv:2: string: expected a whole number from 1 to 12, got "13"`},
		{"string E", need + "\nE,.25,0,3,1\n", `r.csv:2: string: expected a whole number from 1 to 12, got "E"`},
		{"take", need + ",take\n1,.25,0,3,1,0\n", `r.csv:2: take: expected a whole number from 1, got "0"`},
		{"seq", need + ",seq\n1,.25,0,3,1,4294967296\n", `r.csv:2: seq: expected a whole number from 0 to 4294967295, got "4294967296"`},
		{"status", need + ",status\n1,.25,0,3,1,good\n", `r.csv:2: status: expected one of ok, fault, clipped, double_strike, short_window, retracted, got "good"`},
		{"mode", need + ",mode\n1,.25,0,3,1,p\n", `r.csv:2: mode: expected one of P, D, Q, got "p"`},
		{"purpose", need + ",purpose\n1,.25,0,3,1,fun\n", `r.csv:2: purpose: expected one of model, batch, check, repeat, got "fun"`},
		{"excite", need + ",excite\n1,.25,0,3,1,kick\n", `r.csv:2: excite: expected one of travel, force, drive, got "kick"`},
		{"time", need + ",time\n1,.25,0,3,1,yesterday\n", `r.csv:2: time: expected a time such as 2025-03-03T08:49:54.870Z, got "yesterday"`},
		{"too few cells", need + "\n1,.25,0,3\n", `r.csv:2: expected 5 cells as in the header, got another number`},
		{"too many cells", need + "\n1,.25,0,3,1,\n", `r.csv:2: expected 5 cells as in the header, got another number`},
		{"a quote inside", need + ",note\n1,.25,0,3,1,5\" off\n", `r.csv:2: expected quotes only round a whole cell and doubled inside it, got a single one`},
		{"an open quote", need + ",note\n1,.25,0,3,1,\"a\nb", `r.csv:2: expected a quoted cell to end with a quote and a comma, got something else at line 3`},
		{"after a blank line", need + "\n\n1,.25,0,3,x\n", `r.csv:3: rms_mv: expected a number, got "x"`},
		{"after a cell of two lines", "note," + need + "\n\"a\nb\",1,.25,0,3,1\n\"c\nd\",1,.25,0,3,x\n", `r.csv:5: rms_mv: expected a number, got "x"`},
		{"in an unknown order, after a mark", "\xef\xbb\xbf\"rms_mv\",extra,core_mm, string ,string_height_mm,pole_height_mm\nx,,.25,1,3,0\n", `r.csv:2: rms_mv: expected a number, got "x"`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var got []error
			for _, err := range Readings(strings.NewReader(tt.file), "r.csv") {
				if err != nil {
					got = append(got, err)
				}
			}
			if len(got) != 1 || got[0].Error() != tt.want {
				t.Fatalf("got %v\nexpected %s", got, tt.want)
			}
			var row *RowError
			if !errors.As(got[0], &row) {
				t.Errorf("%T is not a *RowError", got[0])
			}
		})
	}
}

func TestFieldErrors(t *testing.T) {
	for file, want := range map[string]string{
		"position,take\n":                       `f.csv:1: field_mt: expected in the header, got "position,take"`,
		"field_mt\nstrong\n":                    `f.csv:2: field_mt: expected a number, got "strong"`,
		"field_mt,position\n1,0\n":              `f.csv:2: position: expected a whole number from 1, got "0"`,
		"field_mt,probe_gap_mm\n1,-1\n":         `f.csv:2: probe_gap_mm: expected 0 or more, got "-1"`,
		"field_mt,status\n1,ok\n1,bad\n1,ok\n":  `f.csv:3: status: expected one of ok, fault, clipped, double_strike, short_window, retracted, got "bad"`,
		"field_mt,string\n-1,1\n\n-1,1\n1,14\n": `f.csv:5: string: expected a whole number from 1 to 12, got "14"`,
	} {
		var got []string
		for _, err := range Fields(strings.NewReader(file), "f.csv") {
			if err != nil {
				got = append(got, err.Error())
			}
		}
		if len(got) != 1 || got[0] != want {
			t.Errorf("got %q\nexpected %s", got, want)
		}
	}
}

func TestRowsAfterAMistakeStillCome(t *testing.T) {
	file := need + "\n1,.25,0,3,1\nx,.25,0,3,1\n1,2\n3,.25,0,3,1\n"
	var strs, bad []int
	for r, err := range Readings(strings.NewReader(file), "r.csv") {
		var row *RowError
		if errors.As(err, &row) {
			bad = append(bad, row.Line)
			continue
		}
		strs = append(strs, r.String)
	}
	if len(strs) != 2 || strs[1] != 3 || len(bad) != 2 || bad[1] != 4 {
		t.Errorf("strings %v, mistakes in lines %v", strs, bad)
	}
}

func TestAbsentAndEmptyAreAlike(t *testing.T) {
	for _, file := range []string{
		need + "\n,,,,\n",
		strings.ReplaceAll(header, "\r", "") + "\n" + strings.Repeat(",", 24) + "\n",
		strings.ToUpper("mine") + "," + need + ",Mode\nx,,,,,,Z\n",
	} {
		for r, err := range Readings(strings.NewReader(file), "r.csv") {
			if err != nil {
				t.Fatal(err)
			}
			for i, v := range []float64{r.Core, r.PoleHeight, r.StringHeight, r.RMS} {
				if !math.IsNaN(v) {
					t.Errorf("number %d is %v, expected NaN", i, v)
				}
			}
			if r.String != 0 || r.HasSeq || r.Mode != "" || r.Status != "" || !r.Time.IsZero() || r.Line != 2 {
				t.Errorf("%+v", r)
			}
		}
	}
}

func TestAFailingReaderEndsTheSequence(t *testing.T) {
	broken := errors.New("disk broken")
	file := io.MultiReader(strings.NewReader(need+"\n1,.25,0,3,1\n"), iotest.ErrReader(broken))
	rows, errs := 0, []error(nil)
	for _, err := range Readings(file, "r.csv") {
		if err != nil {
			errs = append(errs, err)
			continue
		}
		rows++
	}
	if rows != 1 || len(errs) != 1 || !errors.Is(errs[0], broken) {
		t.Errorf("%d rows, errors %v", rows, errs)
	}
}

func TestAReaderMayStop(t *testing.T) {
	for r, err := range Readings(strings.NewReader(need+"\n1,.25,0,3,1\nx\n"), "r.csv") {
		if err != nil || r.Line != 2 {
			t.Fatalf("%+v, %v", r, err)
		}
		break
	}
}
