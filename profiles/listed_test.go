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
