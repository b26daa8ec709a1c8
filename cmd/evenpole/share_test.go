package main

import (
	"testing"

	"evenpole/share"
)

func TestEntriesOf(t *testing.T) {
	for _, tt := range []struct {
		stream share.Stream
		n      int64
		want   string
	}{
		{share.Readings, 2, "2 readings"}, {share.Readings, 1, "1 reading"}, {share.Documents, 1, "1 document"},
		{share.ReadingSeals, 1, "1 seal of readings"}, {share.FieldSeals, 3, "3 fields.seals"},
	} {
		if got := entriesOf(tt.stream, tt.n); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
}
