package profiles

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What is no order is refused with its place before it is understood.
func TestLargeFiles(t *testing.T) {
	var keys strings.Builder
	for i := range 1_000_000 {
		fmt.Fprintf(&keys, "k%d = 1\n", i)
	}
	for name, c := range map[string]struct {
		text string
		line int
	}{
		"a dotted key":     {"id = \"A\"\n" + strings.Repeat("a.", 97_500) + "a = 1\n", 2},
		"a million keys":   {keys.String(), maxLines + 1},
		"no end of a line": {strings.Repeat("a", 3*maxText), 1},
		"long lines":       {strings.Repeat(strings.Repeat("#", maxLine-1)+"\n", 600), 513},
	} {
		path := filepath.Join(t.TempDir(), "order.toml")
		if err := os.WriteFile(path, []byte(c.text), 0o644); err != nil {
			t.Fatal(err)
		}
		_, err := ReadOrder(path, Builtin())
		var e *Error
		if !errors.As(err, &e) || e.Line != c.line || !strings.HasPrefix(e.Msg, "expected at most ") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The largest files that are read take little: the worst that fits in the limits.
func BenchmarkLargestFiles(b *testing.B) {
	dotted := strings.Repeat("a.", maxLine/2-20)
	var deep, flat, list strings.Builder
	for i := range 500 {
		fmt.Fprintf(&deep, "%sk%d = 1\n", dotted, i)
		fmt.Fprintf(&list, "k%d = [%s1]\n", i, strings.Repeat("1,", maxLine/2-20))
	}
	for i := range maxLines - 1 {
		fmt.Fprintf(&flat, "k%d = 1\n", i)
	}
	for name, text := range map[string]string{"dotted": deep.String(), "keys": flat.String(), "lists": list.String()} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := ParseOrder("o.toml", []byte(text), Builtin()); err == nil {
					b.Fatal("taken for an order")
				}
			}
		})
	}
}
