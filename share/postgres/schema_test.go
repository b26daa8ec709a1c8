package postgres

import (
	"context"
	"errors"
	"strings"
	"testing"

	"evenpole/capture/record"
	"evenpole/profiles"
	"evenpole/share/sharetest"
)

// TestASchemaOneVersionBehind: benches share by it, and go on once it is brought up to date.
func TestASchemaOneVersionBehind(t *testing.T) {
	if server == nil {
		t.Skip("no server")
	}
	database, err := server.Database()
	if err != nil {
		t.Fatal(err)
	}
	o := owner(t, database)
	if from, to, err := o.migrate(context.Background(), newest-1); err != nil || from != 0 || to != newest-1 {
		t.Fatalf("from %d to %d, %v", from, to, err)
	}
	for _, bench := range []string{"north", "south"} {
		if err := o.Admit(context.Background(), bench, ""); err != nil {
			t.Fatal(err)
		}
	}
	a, b := sharetest.Shop(t, "north", 8), sharetest.Shop(t, "south", 4)
	north, south := sharetest.Join(t, a, "north", ""), sharetest.Join(t, b, "south", "")
	d := reach(t, database, "north")
	if _, err := north.Exchange(context.Background(), d); err != nil {
		t.Fatal(err)
	}
	if from, to, err := o.Init(context.Background()); err != nil || from != newest-1 || to != newest {
		t.Fatalf("from %d to %d, %v", from, to, err)
	}
	sharetest.Add(t, a.Dir(), sharetest.Row("north", 9))
	if _, err := north.Exchange(context.Background(), d); err != nil { // the connection of before
		t.Fatal(err)
	}
	if _, err := south.Exchange(context.Background(), reach(t, database, "south")); err != nil {
		t.Fatal(err)
	}
	sharetest.SameRows(t, a.Dir(), b.Dir(), "north", record.ReadingsFile)
	if from, to, err := o.Init(context.Background()); err != nil || from != newest || to != newest {
		t.Errorf("again from %d to %d, %v", from, to, err)
	}
	if err := sql(t, database, "postgres", "do $$ begin assert (select count(*) from evenpole.readings where bench = 'north' and rms_mv > 20) = 9; end $$"); err != nil {
		t.Error(err)
	}
}

// TestASchemaThatIsTooNew is refused, as is none at all; nothing is written to either.
func TestASchemaThatIsTooNew(t *testing.T) {
	database := fresh(t, "north", "south")
	if err := sql(t, database, "postgres", "insert into evenpole.version values (99, 98)"); err != nil {
		t.Fatal(err)
	}
	_, err := Open(context.Background(), connectionFile(t, server.Connection("evenpole_north", database)))
	if err == nil || !strings.Contains(err.Error(), "newer program") {
		t.Errorf("a schema of version 99: %v", err)
	}
	none, err := server.Database()
	if err != nil {
		t.Fatal(err)
	}
	_, err = Open(context.Background(), connectionFile(t, server.Connection("evenpole_north", none)))
	if err == nil || !strings.Contains(err.Error(), "share init") {
		t.Errorf("no schema: %v", err)
	}
}

// TestViewsHaveTheRecordsColumns: all of them, with what the rows say.
func TestViewsHaveTheRecordsColumns(t *testing.T) {
	database := fresh(t, "north")
	a := sharetest.Shop(t, "north", 3)
	two := sharetest.Row("north", 4)
	two.Under, two.PoleHeight2, two.Gain2 = profiles.UnderTwoPoles, 0.75, "-0.9"
	sharetest.Add(t, a.Dir(), two)
	w, err := record.OpenWriter(a.Dir())
	if err != nil {
		t.Fatal(err)
	}
	hold := record.Hold{Time: two.Time, Session: "s002", Purpose: record.ForCheck, Kind: record.OfReadings, Jig: "jig-north", Boot: "0000abce", AfterSeq: 7, Pickup: "T-north", Mount: "T.toml", Operator: "Bo"}
	if err := errors.Join(w.AddHold(hold), w.Close()); err != nil {
		t.Fatal(err)
	}
	if _, err := sharetest.Join(t, a, "north", "").Exchange(context.Background(), reach(t, database, "north")); err != nil {
		t.Fatal(err)
	}
	for view, file := range map[string]string{"readings": record.ReadingsFile, "fields": record.FieldsFile, "sessions": record.SessionsFile} {
		for _, column := range append([]string{"bench", "row"}, record.Columns(file)...) {
			if err := sql(t, database, "evenpole_north", "select \""+column+"\" from evenpole."+view); err != nil {
				t.Errorf("%s.%s: %v", view, column, err)
			}
		}
	}
	for _, want := range []string{
		"(select count(*) from evenpole.readings where under = 'two poles' and pole_height_2_mm = 0.75 and coil_2_gain = -0.9) = 1",
		"(select count(*) from evenpole.readings where under is null and pole_height_2_mm is null and coil_2_gain is null) = 3",
		"(select count(*) from evenpole.sessions where operator = 'Bo' and after_seq = 7 and kind = 'readings') = 1",
	} {
		if err := sql(t, database, "evenpole_north", "do $$ begin assert "+want+"; end $$"); err != nil {
			t.Errorf("%s: %v", want, err)
		}
	}
}
