package report

import (
	"strings"
	"testing"
)

// modules records what is drawn of a code.
type modules struct {
	nowhere
	dark map[[2]int]bool
}

func (m *modules) rect(x, y, w, h float64, _ string) {
	for i := range int(w / codeModule) {
		m.dark[[2]int{int(x/codeModule) + i, int(y / codeModule)}] = true
	}
}

// The marks at three corners are where a reader looks for them: seven modules a
// side, a white ring, three by three in the middle (ISO/IEC 18004); the fourth
// corner has none. A text of 100 bytes takes 41 modules a side (version 6, level M,
// which holds 106; version 5 holds 84).
func TestCodeHasItsMarks(t *testing.T) {
	m := &modules{dark: map[[2]int]bool{}}
	side := drawCode(m, strings.Repeat("evenpole? ", 10))
	n := int(side / codeModule)
	if n != 41 {
		t.Fatalf("got %d modules a side, want 41", n)
	}
	marked := func(left, top int) bool {
		for y := range 7 {
			for x := range 7 {
				ring := max(abs(x-3), abs(y-3))
				if m.dark[[2]int{left + x, top + y}] != (ring != 2) {
					return false
				}
			}
		}
		return true
	}
	for corner, want := range map[[2]int]bool{{0, 0}: true, {n - 7, 0}: true, {0, n - 7}: true, {n - 7, n - 7}: false} {
		if marked(corner[0], corner[1]) != want {
			t.Errorf("mark at %v: want %v", corner, want)
		}
	}
	if got := drawCode(m, strings.Repeat("x", 3000)); got != 0 {
		t.Errorf("a text too long for a code: got a side of %v", got)
	}
}

func abs(v int) int { return max(v, -v) }
