package record

import "testing"

func TestOwner(t *testing.T) {
	all := Holds{
		{Session: "s001", Jig: "j", Boot: "A", AfterSeq: 10},
		{Session: "s002", Jig: "j", Boot: "A", AfterSeq: 20},
		{Session: "s001", Jig: "j", Boot: "A", AfterSeq: 30},
		{Session: "s003", Jig: "j", Boot: "B", AfterSeq: 1<<32 - 5},
		{Session: "s004", Jig: "j", Boot: "B", AfterSeq: 3},
		{Session: "s005", Jig: "k", Boot: "A", AfterSeq: 0},
	}
	for _, tt := range []struct {
		jig, boot string
		seq       uint32
		want      string
	}{
		{"j", "A", 10, ""}, {"j", "A", 11, "s001"}, {"j", "A", 20, "s001"}, {"j", "A", 21, "s002"},
		{"j", "A", 30, "s002"}, {"j", "A", 31, "s001"}, {"j", "B", 1<<32 - 5, ""}, {"j", "B", 1<<32 - 4, "s003"},
		{"j", "B", 0, "s003"}, {"j", "B", 3, "s003"}, {"j", "B", 4, "s004"}, {"k", "A", 5, "s005"}, {"k", "B", 5, ""},
	} {
		if got := all.Owner(tt.jig, tt.boot, tt.seq); got != tt.want {
			t.Errorf("reading %d of jig %s, boot %s: owner %q, expected %q", tt.seq, tt.jig, tt.boot, got, tt.want)
		}
	}
}

func TestSessionNumber(t *testing.T) {
	for id, want := range map[string]int{"s001": 1, "s1000": 1000, "": 0, "monday": 0, "s1b": 0, "s99999999999": 0} {
		if got := sessionNumber(id); got != want {
			t.Errorf("%q is number %d, expected %d", id, got, want)
		}
	}
	if got := SessionID(1234); got != "s1234" {
		t.Errorf("got %q", got)
	}
}
