package record

import (
	"errors"
	"strings"
	"testing"
	"testing/iotest"

	"evenpole/capture/record/sheet"
)

func TestReadList(t *testing.T) {
	rows, err := sheet.ReadList(strings.NewReader("\ufeffname, mT \r\n a ,1\r\n\r\nb,\r\n"), "l.csv", "name")
	if err != nil || len(rows) != 2 || rows[0].Cell("name") != "a" || rows[0].Cell("mT") != "1" || rows[1].Cell("mT") != "" || rows[1].Cell("other") != "" {
		t.Fatalf("%+v, %v", rows, err)
	}
	if got := rows[1].Wrong("mT", "expected a number, got %q", "").Error(); got != `l.csv:4: mT: expected a number, got ""` {
		t.Error(got)
	}
	for text, want := range map[string]string{
		"":             "l.csv:1: expected a header row",
		"mT\n1\n":      "l.csv:1: name: expected in the header",
		"name,mT\na\n": "l.csv:2: expected 2 cells",
		"name\n\"a\n":  "l.csv:2: ",
	} {
		_, err := sheet.ReadList(strings.NewReader(text), "l.csv", "name")
		if !errors.As(err, new(*RowError)) || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
	broken := errors.New("broken")
	if _, err := sheet.ReadList(iotest.ErrReader(broken), "l.csv"); !errors.Is(err, broken) {
		t.Errorf("got %v", err)
	}
}
