package postgres

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"evenpole/share"
	"evenpole/share/postgres/pgtest"
	"evenpole/share/sharetest"
	"evenpole/shop"

	"github.com/jackc/pgx/v5"
)

// server is one for all tests of the package.
var server *pgtest.Server

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		child(dir, os.Getenv(childConnection))
		return
	}
	for _, name := range environment {
		os.Unsetenv(name)
	}
	var err error
	if server, err = pgtest.New(); errors.Is(err, pgtest.ErrNone) {
		fmt.Println("the tests with a server are skipped:", err)
	} else if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	status := m.Run()
	if server != nil {
		server.Close()
	}
	os.Exit(status)
}

// How a process of the tests' own is told to share a shop and end.
const (
	childDir        = "EVENPOLE_TEST_SHARE_DIR"
	childConnection = "EVENPOLE_TEST_SHARE_CONNECTION"
)

// child shares a shop, as the command does.
func child(dir, connection string) {
	err := func() error {
		s, err := shop.Open(dir)
		if err != nil {
			return err
		}
		b, err := share.Of(s)
		if err != nil {
			return err
		}
		d, err := Open(context.Background(), connection)
		if err != nil {
			return err
		}
		r, err := b.Exchange(context.Background(), d)
		if err == nil && len(r.Faults) > 0 {
			err = fmt.Errorf("faults %v", r.Faults)
		}
		return err
	}()
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// fresh is a database of its own with benches admitted, and the role of its owner.
func fresh(t testing.TB, benches ...string) (database string) {
	t.Helper()
	if server == nil {
		t.Skip(pgtest.ErrNone)
	}
	database, err := server.Database()
	if err != nil {
		t.Fatal(err)
	}
	o := owner(t, database)
	if _, _, err := o.Init(context.Background()); err != nil {
		t.Fatal(err)
	}
	for _, bench := range benches {
		if err := o.Admit(context.Background(), bench, ""); err != nil {
			t.Fatal(err)
		}
	}
	return database
}

// connectionFile writes a file with a connection.
func connectionFile(t testing.TB, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "connection")
	if err := os.WriteFile(path, []byte(text+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func owner(t testing.TB, database string) *Owner {
	t.Helper()
	o, err := OpenOwner(context.Background(), connectionFile(t, server.Connection("postgres", database)))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { o.Close() })
	return o
}

func reach(t testing.TB, database, bench string) *Database {
	t.Helper()
	d, err := Open(context.Background(), connectionFile(t, server.Connection("evenpole_"+bench, database)))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return d
}

func TestCarrier(t *testing.T) {
	sharetest.Carrier(t, func(t *testing.T) func(string) share.Carrier {
		database := fresh(t, "north", "south")
		return func(bench string) share.Carrier { return reach(t, database, bench) }
	})
}

// sql runs a statement as a role, and returns its error.
func sql(t testing.TB, database, role, text string) error {
	t.Helper()
	conn, err := pgx.Connect(context.Background(), server.Connection(role, database))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	_, err = conn.Exec(context.Background(), text)
	return err
}
