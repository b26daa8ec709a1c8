package postgres

import (
	"context"
	"strings"
	"testing"

	"evenpole/capture/record"
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
