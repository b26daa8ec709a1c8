package postgres

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/share"
	"evenpole/share/postgres/pgtest"
	"evenpole/share/sharetest"
)

// wire is a socket before the server's that lets so many bytes through, of both ways
// together, and cuts the connection then.
type wire struct {
	dir  string
	left atomic.Int64
	l    net.Listener
}

func newWire(t *testing.T, s *pgtest.Server) *wire {
	t.Helper()
	dir, err := os.MkdirTemp("/tmp", "evw-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	w := &wire{dir: dir}
	if w.l, err = net.Listen("unix", filepath.Join(dir, ".s.PGSQL.5432")); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.l.Close() })
	go func() {
		for {
			c, err := w.l.Accept()
			if err != nil {
				return
			}
			there, err := net.Dial("unix", filepath.Join(s.Dir, ".s.PGSQL.5432"))
			if err != nil {
				c.Close()
				continue
			}
			go w.carry(c, there)
			go w.carry(there, c)
		}
	}()
	return w
}

func (w *wire) carry(from, to net.Conn) {
	defer from.Close()
	defer to.Close()
	b := make([]byte, 4096)
	for {
		n, err := from.Read(b)
		left := w.left.Add(-int64(n)) + int64(n)
		if _, err := to.Write(b[:max(0, min(int64(n), left))]); err != nil || left < int64(n) {
			return
		}
		if err != nil {
			return
		}
	}
}

// TestAConnectionCutAtAnyByte: the next exchange goes on, and everything comes once.
func TestAConnectionCutAtAnyByte(t *testing.T) {
	database := fresh(t, "north", "south")
	a, b := sharetest.Shop(t, "north", 40), sharetest.Shop(t, "south", 5)
	north, south := sharetest.Join(t, a, "north", ""), sharetest.Join(t, b, "south", "")
	before := sharetest.Own(t, a.Dir())
	w := newWire(t, server)
	cuts := 0
	for _, x := range []*share.Bench{north, south, north} {
		file := connectionFile(t, fmt.Sprintf("host=%s user=evenpole_%s dbname=%s sslmode=disable", w.dir, x.Bench, database))
		for left, ended := int64(1), false; !ended; left += 1 + left/9 {
			if left > 1<<22 {
				t.Fatal("it never comes to its end")
			}
			w.left.Store(left)
			d, err := Open(context.Background(), file)
			if err != nil {
				cuts++
				continue
			}
			r, err := x.Exchange(context.Background(), d)
			if len(r.Faults) > 0 || errors.As(err, new(*share.DivergedError)) {
				t.Fatalf("cut after %d bytes: faults %v, %v", left, r.Faults, err)
			}
			d.Close()
			ended = err == nil
			cuts++
		}
	}
	if cuts < 60 {
		t.Errorf("only %d cuts", cuts)
	}
	for _, file := range []string{record.ReadingsFile, record.FieldsFile, record.SessionsFile, record.ReadingSealsFile} {
		sharetest.SameRows(t, a.Dir(), b.Dir(), "north", file)
		sharetest.SameRows(t, b.Dir(), a.Dir(), "south", file)
	}
	if after := sharetest.Own(t, a.Dir()); !maps.Equal(before, after) {
		t.Error("north's own files were touched")
	}
}

// TestKilledAtAnyInstant kills benches and the server, and compares what everybody has in the
// end. The program bench/sharing does so many more times.
func TestKilledAtAnyInstant(t *testing.T) {
	if server == nil {
		t.Skip(pgtest.ErrNone)
	}
	s, err := pgtest.New() // which is killed, and so nobody else's
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	database, err := s.Database()
	if err != nil {
		t.Fatal(err)
	}
	o, err := OpenOwner(context.Background(), connectionFile(t, s.Connection("postgres", database)))
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := o.Init(context.Background()); err != nil {
		t.Fatal(err)
	}
	names := []string{"north", "south"}
	dirs, files := map[string]string{}, map[string]string{}
	next := map[string]uint32{}
	for _, name := range names {
		if err := o.Admit(context.Background(), name, ""); err != nil {
			t.Fatal(err)
		}
		x := sharetest.Shop(t, name, 3)
		sharetest.Join(t, x, name, "")
		dirs[name], files[name], next[name] = x.Dir(), connectionFile(t, s.Connection("evenpole_"+name, database)), 4
	}
	o.Close()
	random := rand.New(rand.NewPCG(1, 2))
	add := func(name string) {
		var rows []record.Reading
		for range 4 {
			rows = append(rows, sharetest.Row(name, next[name]))
			next[name]++
		}
		sharetest.Add(t, dirs[name], rows...)
	}
	killed := 0
	for round := range 16 {
		name := names[round%len(names)]
		add(name)
		cmd := sharing(dirs[name], files[name])
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(random.Int64N(int64(60 * time.Millisecond))))
		if round%4 == 3 {
			if err := s.Kill(); err != nil {
				t.Fatal(err)
			}
		} else if err := cmd.Process.Kill(); err == nil {
			killed++
		}
		cmd.Wait()
		if round%4 == 3 {
			if err := s.Start(); err != nil {
				t.Fatal(err)
			}
			killed++
		}
	}
	if killed < 8 {
		t.Errorf("only %d kills", killed)
	}
	for _, name := range append(names, names...) {
		if text, err := sharing(dirs[name], files[name]).CombinedOutput(); err != nil {
			t.Fatalf("%s: %v: %s", name, err, text)
		}
	}
	sharetest.SameRows(t, dirs["north"], dirs["south"], "north", record.ReadingsFile)
	sharetest.SameRows(t, dirs["south"], dirs["north"], "south", record.ReadingsFile)
}

func sharing(dir, connection string) *exec.Cmd {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childDir+"="+dir, childConnection+"="+connection)
	return cmd
}

// TestManyBenchesAtOnce: everything comes once. The program bench/sharing has ten benches push
// 100,000 readings each.
func TestManyBenchesAtOnce(t *testing.T) {
	const rows = 700
	var names []string
	for i := range 10 {
		names = append(names, fmt.Sprintf("bench-%d", i))
	}
	database := fresh(t, names...)
	shops := map[string]*share.Bench{}
	dirs := map[string]string{}
	for _, name := range names {
		x := sharetest.Shop(t, name, 1)
		sharetest.Fill(t, x.Dir(), name, rows)
		shops[name], dirs[name] = sharetest.Join(t, x, name, ""), x.Dir()
	}
	for range 2 { // the second time each pulls what was still on its way
		var all sync.WaitGroup
		for _, name := range names {
			d := reach(t, database, name)
			all.Go(func() {
				if r, err := shops[name].Exchange(context.Background(), d); err != nil || len(r.Faults) > 0 {
					t.Errorf("%s: %v, faults %v", name, err, r.Faults)
				}
			})
		}
		all.Wait()
	}
	count := fmt.Sprintf("do $$ begin assert (select count(*) = %d and count(distinct (jig, boot, seq)) = %d from evenpole.readings); end $$", rows*len(names), rows*len(names))
	if err := sql(t, database, "postgres", count); err != nil {
		t.Error(err)
	}
	for _, from := range names {
		for _, to := range names {
			if from != to {
				sharetest.SameRows(t, dirs[from], dirs[to], from, record.ReadingsFile)
			}
		}
	}
}
