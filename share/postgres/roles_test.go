package postgres

import (
	"context"
	"errors"
	"strconv"
	"strings"
	"testing"

	"evenpole/capture/record"
	"evenpole/share"
	"evenpole/share/sharetest"

	"github.com/jackc/pgx/v5/pgconn"
)

// TestABenchAppendsAndReadsAndNothingElse: it is the database that refuses.
func TestABenchAppendsAndReadsAndNothingElse(t *testing.T) {
	database := fresh(t, "north", "south")
	a := sharetest.Shop(t, "north", 5)
	north := sharetest.Join(t, a, "north", "")
	if _, err := north.Exchange(context.Background(), reach(t, database, "north")); err != nil {
		t.Fatal(err)
	}
	insert := func(bench, stream string, n int64, chain string) string {
		return "insert into evenpole.entry (bench, stream, n, chain, cells) values ('" + bench + "', '" + stream + "', " + strconv.FormatInt(n, 10) + ", '" + chain + "', '{}')"
	}
	next := share.Start("south", share.Fields).Next("{}").Chain
	for _, role := range []string{"evenpole_north", "evenpole_south", "postgres"} {
		for _, text := range []string{
			"update evenpole.entry set cells = '{}' where n = 1",
			"update evenpole.entry set at = now()",
			"delete from evenpole.entry",
			"truncate evenpole.entry",
			"truncate evenpole.entry cascade",
			"insert into evenpole.entry (bench, stream, n, chain, cells) select bench, stream, n, chain, '{}' from evenpole.entry on conflict (bench, stream, n) do update set cells = excluded.cells",
		} {
			refused(t, sql(t, database, role, text), role+": "+text)
		}
	}
	for _, text := range []string{
		insert("south", "fields", 1, next), // under another's name
		insert("north", "fields", 3, share.Start("north", share.Fields).Chain),
		insert("north", "fields", 2, strings.Repeat("0", 32)),
		"insert into evenpole.entry (bench, stream, n, chain, cells, at) values ('north', 'fields', 2, '', '{}', now())",
		"update evenpole.bench set role = 'evenpole_north'",
		"insert into evenpole.bench (name, role) values ('west', 'evenpole_north')",
		"alter table evenpole.entry disable trigger all",
		"alter table evenpole.entry disable row level security",
		"drop table evenpole.entry",
		"drop trigger only_grows on evenpole.entry",
		"create or replace function evenpole.follow() returns trigger language plpgsql as 'begin return null; end'",
		"create table evenpole.mine (n int)",
		"set role postgres; delete from evenpole.entry",
		"set session_replication_role = replica; delete from evenpole.entry",
		"create role another superuser",
	} {
		refused(t, sql(t, database, "evenpole_north", text), text)
	}
	if err := sql(t, database, "evenpole_south", insert("south", "fields", 1, next)); err != nil {
		t.Errorf("what a bench may append: %v", err)
	}
	if err := sql(t, database, "evenpole_south", "select * from evenpole.readings where bench = 'north' and rms_mv > 0"); err != nil {
		t.Errorf("what a bench may read: %v", err)
	}
	if x, err := north.Verify(context.Background(), reach(t, database, "north")); err != nil || len(x.Faults) > 0 {
		t.Errorf("faults %v, %v", x, err)
	}
}

func refused(t *testing.T, err error, what string) {
	t.Helper()
	var pg *pgconn.PgError
	if !errors.As(err, &pg) || pg.Code != "42501" && pg.Code != "23000" {
		t.Errorf("%s: %v", what, err)
	}
}

func TestABenchThatWasClosedOut(t *testing.T) {
	database := fresh(t, "north", "south")
	a, b := sharetest.Shop(t, "north", 3), sharetest.Shop(t, "south", 2)
	north, south := sharetest.Join(t, a, "north", ""), sharetest.Join(t, b, "south", "")
	d := reach(t, database, "north")
	if _, err := north.Exchange(context.Background(), d); err != nil {
		t.Fatal(err)
	}
	if err := owner(t, database).CloseOut(context.Background(), "north"); err != nil {
		t.Fatal(err)
	}
	sharetest.Add(t, a.Dir(), sharetest.Row("north", 4))
	if _, err := south.Exchange(context.Background(), reach(t, database, "south")); err != nil {
		t.Fatal(err)
	}
	r, err := north.Exchange(context.Background(), d)
	if !errors.Is(err, share.ErrClosed) || len(r.Pulled) == 0 {
		t.Errorf("closed out: %v, pulled %v", err, r.Pulled)
	}
	sharetest.SameRows(t, b.Dir(), a.Dir(), "south", record.ReadingsFile)
	if err := sql(t, database, "evenpole_north", "insert into evenpole.entry (bench, stream, n, chain, cells) values ('north', 'fields', 2, '', '{}')"); err == nil {
		t.Error("the database takes a row from a bench that was closed out")
	}
	if err := owner(t, database).Admit(context.Background(), "north", ""); err != nil {
		t.Fatal(err)
	}
	if _, err := north.Exchange(context.Background(), d); err != nil {
		t.Error(err)
	}
}

func TestABenchThatIsNotAdmitted(t *testing.T) {
	database := fresh(t, "north", "south")
	a := sharetest.Shop(t, "west", 1)
	west := sharetest.Join(t, a, "west", "")
	if _, err := west.Exchange(context.Background(), reach(t, database, "north")); !errors.Is(err, share.ErrNotAdmitted) {
		t.Errorf("a bench under another's role: %v", err)
	}
	if err := owner(t, database).CloseOut(context.Background(), "west"); err == nil {
		t.Error("a bench that is not there was closed out")
	}
}

// TestARowAlteredInTheDatabase is found by the bench that it is of, by one that pulled it
// and by one that did not; nothing of what they have is changed by it.
func TestARowAlteredInTheDatabase(t *testing.T) {
	unguarded := func(text string) string {
		return "alter table evenpole.entry disable trigger user; alter table evenpole.entry no force row level security; " + text
	}
	const altered = `update evenpole.entry set cells = replace(cells, '"rms_mv":"20.030"', '"rms_mv":"20.130"') where bench = 'north' and stream = 'readings' and n = 3`
	// Whoever alters a row and works out all chains after it anew is found by those who know the old ones.
	const chained = altered + `;
		do $$ declare r record; c text; begin
			for r in select n, cells from evenpole.entry where bench = 'north' and stream = 'readings' order by n loop
				c := evenpole.next(coalesce(c, evenpole.start('north', 'readings')), r.n, r.cells);
				update evenpole.entry set chain = c where bench = 'north' and stream = 'readings' and n = r.n;
			end loop;
		end $$`
	const gone = "delete from evenpole.entry where bench = 'north' and stream = 'readings' and n = 3"
	const last = "delete from evenpole.entry where bench = 'north' and stream = 'readings' and n = 6"
	for name, text := range map[string]string{"altered": altered, "chained": chained, "gone": gone, "last": last} {
		t.Run(name, func(t *testing.T) {
			database := fresh(t, "north", "south", "west")
			a, b, c := sharetest.Shop(t, "north", 6), sharetest.Shop(t, "south", 2), sharetest.Shop(t, "west", 2)
			north, south, west := sharetest.Join(t, a, "north", ""), sharetest.Join(t, b, "south", ""), sharetest.Join(t, c, "west", "")
			for _, x := range []*share.Bench{north, south} {
				if _, err := x.Exchange(context.Background(), reach(t, database, x.Bench)); err != nil {
					t.Fatal(err)
				}
			}
			before := sharetest.Own(t, a.Dir())
			if err := sql(t, database, "postgres", unguarded(text)); err != nil {
				t.Fatal(err)
			}
			if name != "last" { // which the bench itself pushes again, as it was
				r, err := north.Exchange(context.Background(), reach(t, database, "north"))
				if err == nil && len(r.Faults) == 0 {
					t.Error("north does not find it")
				}
			}
			r, err := south.Exchange(context.Background(), reach(t, database, "south"))
			if err != nil || len(r.Faults) == 0 || r.Faults[0].Bench != "north" || r.Faults[0].Stream != share.Readings {
				t.Errorf("south finds %v, %v", r.Faults, err)
			}
			sharetest.SameRows(t, a.Dir(), b.Dir(), "north", record.ReadingsFile)
			if name == "altered" || name == "gone" {
				r, err := west.Exchange(context.Background(), reach(t, database, "west"))
				if err != nil || len(r.Faults) == 0 {
					t.Errorf("west, who never pulled, finds %v, %v", r.Faults, err)
				}
				if _, err := share.ViewOf(context.Background(), reach(t, database, "west"), t.TempDir()); err == nil {
					t.Error("a fit from the shared record does not find it")
				}
			}
			for _, x := range []*share.Bench{north, south} {
				audit, err := x.Verify(context.Background(), reach(t, database, x.Bench))
				if err != nil || len(audit.Faults) == 0 && !(x == north && name == "last") {
					t.Errorf("%s verifies: %v, %v", x.Bench, audit, err)
				}
			}
			if after := sharetest.Own(t, a.Dir()); len(after) != len(before) || after[record.ReadingsFile] != before[record.ReadingsFile] {
				t.Error("north's own files were touched")
			}
		})
	}
}
