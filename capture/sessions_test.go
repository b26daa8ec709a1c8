package capture

import "testing"

func TestOwner(t *testing.T) {
	all := holds{
		{session: "s001", jig: "j", boot: "A", afterSeq: 10},
		{session: "s002", jig: "j", boot: "A", afterSeq: 20},
		{session: "s001", jig: "j", boot: "A", afterSeq: 30},
		{session: "s003", jig: "j", boot: "B", afterSeq: 1<<32 - 5},
		{session: "s004", jig: "j", boot: "B", afterSeq: 3},
		{session: "s005", jig: "k", boot: "A", afterSeq: 0},
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
		if got := all.owner(tt.jig, tt.boot, tt.seq); got != tt.want {
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
	if got := sessionID(1234); got != "s1234" {
		t.Errorf("got %q", got)
	}
}
