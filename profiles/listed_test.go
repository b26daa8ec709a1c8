package profiles

import "testing"

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
