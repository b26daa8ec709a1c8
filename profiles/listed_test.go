package profiles

import (
	"strings"
	"testing"
)

func TestListed(t *testing.T) {
	names := strings.Split(strings.Repeat("P,", 25), ",")[:25]
	if got := Listed(names[:20]); strings.Count(got, "P") != 20 || strings.Contains(got, "more") {
		t.Errorf("20 names: %q", got)
	}
	if got := Listed(names); strings.Count(got, "P") != 20 || !strings.HasSuffix(got, "P and 5 more") {
		t.Errorf("25 names: %q", got)
	}
}

func TestCount(t *testing.T) {
	for _, tt := range []struct {
		n    int
		what string
		want string
	}{
		{0, "take", "0 takes"}, {1, "take", "1 take"}, {2, "more take", "2 more takes"},
		{1, "entry", "1 entry"}, {2, "entry", "2 entries"}, {2, "bench", "2 benches"},
	} {
		if got := Count(tt.n, tt.what); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
}
