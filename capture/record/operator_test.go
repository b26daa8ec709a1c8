package record

import (
	"maps"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// A shop from before operators were told keeps all that its sessions.csv says, a
// person's columns as well, and gets the column with the first name.
func TestOperatorsOfAnOlderShop(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, SessionsFile)
	const before = "time,session,purpose,kind,jig,boot,after_seq,pickup,mount,\"my, own\"\r\n" +
		"2025-03-03T08:00:00Z,s001,model,readings,j,0000000A,0,T-1,T-1-00.toml,\"'=1, two\"\r\n" +
		"2025-03-03T08:09:00Z,,,,j,0000000A,9,,,\r\n"
	if err := os.WriteFile(file, []byte(before), 0o600); err != nil {
		t.Fatal(err)
	}
	w, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2025, 3, 4, 8, 0, 0, 0, time.UTC)
	hold := func(session, operator string) {
		t.Helper()
		if err := w.AddHold(Hold{Time: at, Session: session, Purpose: ForRepeat, Kind: OfReadings, Jig: "j", Boot: "0000000B", Pickup: "Q", Mount: "Q-00.toml", Operator: operator}); err != nil {
			t.Fatal(err)
		}
	}
	hold("s002", "")
	if got, _ := os.ReadFile(file); string(got) != before+"2025-03-04T08:00:00.000Z,s002,repeat,readings,j,0000000B,0,Q,Q-00.toml,\r\n" {
		t.Errorf("without an operator: %s", got)
	}
	hold("s003", "Bo")
	hold("s003", "Ida")
	hold("s004", "Bo")
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	const after = "time,session,purpose,kind,jig,boot,after_seq,pickup,mount,\"my, own\",operator\r\n" +
		"2025-03-03T08:00:00Z,s001,model,readings,j,0000000A,0,T-1,T-1-00.toml,\"'=1, two\",\r\n" +
		"2025-03-03T08:09:00Z,,,,j,0000000A,9,,,,\r\n" +
		"2025-03-04T08:00:00.000Z,s002,repeat,readings,j,0000000B,0,Q,Q-00.toml,,\r\n" +
		"2025-03-04T08:00:00.000Z,s003,repeat,readings,j,0000000B,0,Q,Q-00.toml,,Bo\r\n" +
		"2025-03-04T08:00:00.000Z,s003,repeat,readings,j,0000000B,0,Q,Q-00.toml,,Ida\r\n" +
		"2025-03-04T08:00:00.000Z,s004,repeat,readings,j,0000000B,0,Q,Q-00.toml,,Bo\r\n"
	if got, _ := os.ReadFile(file); string(got) != after {
		t.Errorf("got %s", got)
	}
	holds, err := HoldsIn(dir)
	if err != nil {
		t.Fatal(err)
	}
	if got := holds.Operators(); !maps.Equal(got, map[string]string{"s003": "Ida", "s004": "Bo"}) || holds.LastOperator() != "Bo" {
		t.Errorf("operators: %v, last %q", got, holds.LastOperator())
	}
}
