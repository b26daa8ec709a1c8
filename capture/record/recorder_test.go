package record

import "testing"

// A jig's capture goes on with no session of a recording, and a recorder's with none of a
// jig or of another recorder.
func TestLatestByRecorder(t *testing.T) {
	held := func(session, jig, boot string) Hold {
		return Hold{Session: session, Purpose: ForModel, Kind: OfReadings, Jig: jig, Boot: boot, Mount: "m"}
	}
	all := Holds{held("s001", "sim-1", "A"), held("s002", RecorderJig("desk"), "B"), held("s003", RecorderJig(""), "C"), held("s004", RecorderJig("van"), "D")}
	if got := all.Latest(ForModel, OfReadings, "m"); got != "s001" {
		t.Errorf("of a jig: got %q", got)
	}
	if got := all.LatestOf(RecorderJig("desk"), ForModel, "m"); got != "s002" {
		t.Errorf("of a recorder: got %q", got)
	}
	if got := all.LatestOf(RecorderJig("shed"), ForModel, "m"); got != "" {
		t.Errorf("of a recorder without sessions: got %q", got)
	}
	if session, jig := all.Recorded("D"); session != "s004" || jig != "recording-van" {
		t.Errorf("recording D: got %q, %q", session, jig)
	}
	if session, _ := all.Recorded("A"); session != "" {
		t.Errorf("a jig's power-up: got %q", session)
	}
}

// Levels that were filed in thousandths of full scale have a scale, and no others.
func TestScaleOf(t *testing.T) {
	for _, c := range []struct{ jig, note, want string }{
		{"sim-1", RelativeNote, ""}, {"recorder", RelativeNote, ""}, {"recording", RelativeNote, "recording/A"}, {"recording-desk", "clipped; " + RelativeNote, "recording-desk"},
		{"recording", "", ""}, {"recording-desk", "level in mV", ""},
	} {
		if got := (&Reading{Jig: c.jig, Boot: "A", Note: c.note}).ScaleOf(); got != c.want {
			t.Errorf("jig %q, note %q: got %q, want %q", c.jig, c.note, got, c.want)
		}
	}
}
