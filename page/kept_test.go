package page

import (
	"errors"
	"testing"
)

func TestWhatIsKept(t *testing.T) {
	var k kept[int]
	work, made := make(places, 1), 0
	next := func() (int, error) { made++; return made, nil }
	for _, c := range []struct {
		of   string
		want int
	}{{"", 1}, {"", 1}, {"a", 2}, {"a", 2}, {"", 3}} {
		if got, err := k.get(t.Context(), work, c.of, next); got != c.want || err != nil {
			t.Errorf("%q: %d, %v, want %d", c.of, got, err, c.want)
		}
	}
	if _, err := k.get(t.Context(), work, "b", func() (int, error) { return 0, errors.New("no") }); err == nil {
		t.Error("an error was kept to itself")
	}
	if got, _ := k.get(t.Context(), work, "b", next); got != 4 {
		t.Errorf("an error was kept: %d", got)
	}
}
