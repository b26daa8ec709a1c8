package record

import (
	"errors"
	"strings"
	"testing"

	"evenpole/capture/record/sheet"
	"evenpole/profiles"
)

// hostile are texts that no name has: they would steer a terminal, break a line of a
// paper, or are no text at all.
var hostile = []string{"T\x1b[31m", "T\x07", "T\x00", "T\x7f", "T\u009b31m", "T\n4", "T\r4", "T\t4", "T\u00854", "T\u20284", "T\u202e4", "T\xff", "T\xc3"}

// A name of a CSV file that is no line of text is refused with its place.
func TestNamesOfTheRecord(t *testing.T) {
	quoted := func(s string) string { return `"` + s + `"` }
	for _, name := range hostile {
		for _, column := range []string{"pickup", "session", "string_set", "wrap", "batch", "jig", "boot"} {
			file := "string,core_mm,pole_height_mm,string_height_mm,rms_mv," + column + "\n1,0.25,1,3,10,T-4\n1,0.25,1,3,10," + quoted(name) + "\n"
			wantPlace(t, column, name, func() (err error) {
				for _, err = range Readings(strings.NewReader(file), "r.csv") {
				}
				return err
			})
		}
		for _, column := range []string{"magnet", "pickup", "session", "batch", "jig", "boot"} {
			file := "field_mt," + column + "\n100,T-4\n100," + quoted(name) + "\n"
			wantPlace(t, column, name, func() (err error) {
				for _, err = range Fields(strings.NewReader(file), "r.csv") {
				}
				return err
			})
		}
		file := "session,operator\ns001,who\ns001," + quoted(name) + "\n"
		wantPlace(t, "operator", name, func() error { _, err := sheet.ReadList(strings.NewReader(file), "r.csv"); return err })
	}
}

func wantPlace(t *testing.T, column, name string, read func() error) {
	t.Helper()
	var row *RowError
	if err := read(); !errors.As(err, &row) || row.Line != 3 || row.Column != column {
		t.Errorf("%s %q: got %v", column, name, err)
	}
}

// A note may have lines, and nothing else that steers a terminal.
func TestNotesOfTheRecord(t *testing.T) {
	for note, good := range map[string]bool{"one\ntwo\tthree é": true, "one\x1b[31m": false, "one\x00": false, "\xe9": false} {
		file := "field_mt,note\n100,\"" + note + "\"\n"
		for _, err := range Fields(strings.NewReader(file), "r.csv") {
			if (err == nil) != good {
				t.Errorf("%q: %v", note, err)
			}
		}
	}
}

// A name that a mount may have is one that the record may have.
func TestOneRuleForNames(t *testing.T) {
	for _, name := range append(hostile, "T-4", "Überholt 4", "磁石", "a \"b\", c") {
		quotedName := strings.NewReplacer("\\", `\\`, "\"", `\"`).Replace(name)
		_, err := profiles.ParseBatches("b.toml", []byte("[[batch]]\nname = \""+quotedName+"\"\n"))
		if (err == nil) != profiles.IsName(name) {
			t.Errorf("%q: %v", name, err)
		}
	}
}
