package pdf

import (
	"bytes"
	"fmt"
	"regexp"
	"slices"
	"testing"
	"time"
)

var pageTree = regexp.MustCompile(`/Type /Pages\s[^>]*?/Count (\d+)`)

// Letters shrink until all is on a page; what is too long even so takes more:
// 126 lines of 8.5 points, at 0.6 of them and 1.22 apart, are on 277 mm.
func TestOnePage(t *testing.T) {
	for lines, want := range map[int]string{10: "1", 120: "1", 400: "4"} {
		var b bytes.Buffer
		err := OnePage(&b, Setup{Width: 210, Height: 297, Title: "lines"}, func(s *Page) {
			for i := range lines {
				s.Para(fmt.Sprintf("line %d", i), BodySize, false)
			}
		})
		if err != nil {
			t.Fatal(err)
		}
		if m := pageTree.FindSubmatch(b.Bytes()); m == nil || string(m[1]) != want {
			t.Errorf("%d lines: got %s pages, want %s", lines, m, want)
		}
	}
}

// Lines lose no letter, are no wider than asked, and break beside Chinese characters.
func TestLines(t *testing.T) {
	d := NewDocument(100, 100, "", time.Time{})
	d.SetLetters(10, false)
	for text, want := range map[string][]string{
		"one two three":    {"one two", "three"},
		"王小明的吉他拾音器":        {"王小明的", "吉他拾音", "器"},
		"拾音器四。五":           {"拾音器", "四。五"},
		"Gitarre 王小明":      {"Gitarre", "王小明"},
		"off by 12 mm":     {"off by", "12 mm"},
		"Donaudampfschiff": {"Donauda", "mpfschiff"},
	} {
		got := d.lines(text, 15)
		if !slices.Equal(got, want) {
			t.Errorf("%s: %q, want %q", text, got, want)
		}
		for _, line := range got {
			if w := d.TextWidth(line); w > 15 {
				t.Errorf("%s: a line %.1f mm wide", line, w)
			}
		}
	}
}

func TestHeld(t *testing.T) {
	for text, want := range map[string]string{
		"one with 10 % is 3 times": "one with 10\u00a0% is 3 times", "12.5 mT (k = 1.760)": "12.5\u00a0mT (k\u00a0=\u00a01.760)",
		"2 magnets in 3 sets": "2 magnets in 3 sets", " %": " %", "": "",
	} {
		if got := Held(text); got != want {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
}
