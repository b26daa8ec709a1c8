// Command sharing has many benches share one record through a PostgreSQL server that it
// starts, kills both, and compares what everybody has in the end.
//
//	go run ./bench/sharing [-benches 10] [-rows 100000] [-kills 200] [-program FILE]
//
// First all benches push their readings at once, each by a process of its own, and pull
// those of the others. Then a smaller record is shared while processes of benches, and every
// fourth time the server, are killed at random instants, and rows are added. It prints how
// many readings the database and the benches lack, have twice or otherwise than the bench
// that made them, and how many files of benches were touched, and fails unless all are 0.
package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"evenpole/bench/rig"
	"evenpole/capture/record"
	"evenpole/capture/record/table"
	"evenpole/share/postgres"
	"evenpole/share/postgres/pgtest"
	"evenpole/shop"

	"github.com/jackc/pgx/v5"
)

func main() {
	var o options
	flag.IntVar(&o.benches, "benches", 10, "how `many`")
	flag.IntVar(&o.rows, "rows", 100000, "`readings` of each bench in the first part")
	flag.IntVar(&o.kills, "kills", 200, "how `many` in the second part")
	flag.StringVar(&o.program, "program", "", "the program, as a `file` (default: built from ./cmd/evenpole)")
	flag.Uint64Var(&o.seed, "seed", 1, "`seed` of what is drawn")
	flag.Parse()
	if err := run(os.Stdout, o); err != nil {
		fmt.Fprintln(os.Stderr, "sharing:", err)
		os.Exit(1)
	}
}

type options struct {
	benches, rows, kills int
	program              string
	seed                 uint64
}

func run(out io.Writer, o options) error {
	dir, err := os.MkdirTemp("", "evenpole-sharing-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if o.program == "" {
		if o.program, err = rig.Build(dir); err != nil {
			return err
		}
	}
	s, err := pgtest.New()
	if err != nil {
		return err
	}
	defer s.Close()
	w := &world{options: o, out: out, dir: dir, server: s, random: rand.New(rand.NewPCG(o.seed, 1))}
	if err := w.atOnce(); err != nil {
		return err
	}
	if err := w.killing(); err != nil {
		return err
	}
	if w.wrong > 0 {
		return fmt.Errorf("%d things are not as they should be", w.wrong)
	}
	return nil
}

// world is the benches with their server.
type world struct {
	options
	out    io.Writer
	dir    string
	server *pgtest.Server
	random *rand.Rand
	wrong  int
}

// bench is one shop.
type bench struct {
	name string
	dir  string
	rows int // that it has
	own  [sha256.Size]byte
}

// begin makes benches with some rows each, admitted to a new database.
func (w *world) begin(part string, benches, rows int) (list []*bench, database string, err error) {
	if database, err = w.server.Database(); err != nil {
		return nil, "", err
	}
	file := filepath.Join(w.dir, part+"-owner")
	if err := os.WriteFile(file, []byte(w.server.Connection("postgres", database)), 0o600); err != nil {
		return nil, "", err
	}
	ctx := context.Background()
	o, err := postgres.OpenOwner(ctx, file)
	if err != nil {
		return nil, "", err
	}
	defer o.Close()
	if _, _, err := o.Init(ctx); err != nil {
		return nil, "", err
	}
	for i := range benches {
		b := &bench{name: fmt.Sprintf("bench-%d", i), dir: filepath.Join(w.dir, part, fmt.Sprint(i))}
		if err := o.Admit(ctx, b.name, ""); err != nil {
			return nil, "", err
		}
		shared := filepath.Join(b.dir, shop.SharedDir)
		if err := os.MkdirAll(shared, 0o755); err != nil {
			return nil, "", err
		}
		if err := b.add(rows); err != nil {
			return nil, "", err
		}
		if err := os.WriteFile(filepath.Join(shared, "connection"), []byte(w.server.Connection("evenpole_"+b.name, database)), 0o600); err != nil {
			return nil, "", err
		}
		list = append(list, b)
	}
	return list, database, nil
}

// add adds rows to a bench's record, and seals them.
func (b *bench) add(rows int) error {
	var text bytes.Buffer
	out := table.NewWriter(&text, false)
	if b.rows == 0 {
		if err := out.Write(record.Columns(record.ReadingsFile)); err != nil {
			return err
		}
	}
	for range rows {
		b.rows++
		if err := out.Write(record.TextOf(b.row(b.rows))); err != nil {
			return err
		}
	}
	if err := out.Flush(); err != nil {
		return err
	}
	f, err := os.OpenFile(filepath.Join(b.dir, record.ReadingsFile), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(text.Bytes())
	if err := errors.Join(err, f.Close()); err != nil {
		return err
	}
	x, err := record.OpenWriter(b.dir)
	if err != nil {
		return err
	}
	if err := x.Close(); err != nil {
		return err
	}
	b.own, err = b.digest()
	return err
}

// row is a bench's reading of a number. The clocks of benches disagree by a day.
func (b *bench) row(n int) *record.Reading {
	day := time.Duration(b.name[len(b.name)-1]-'0') * 24 * time.Hour
	return &record.Reading{
		Time: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC).Add(day + time.Duration(n)*time.Second), Session: fmt.Sprintf("s%03d", 1+n/500), Purpose: record.ForModel,
		Jig: "jig-" + b.name, Boot: fmt.Sprintf("%08x", n/5000), Seq: uint32(n%5000 + 1), HasSeq: true, Pickup: fmt.Sprintf("T-%d", n/500), Batch: "gale",
		String: n%6 + 1, StringSet: "house", Core: 0.254, Gauge: 0.254, Wrap: "plain", PoleHeight: 0.5, StringHeight: 3,
		Mode: record.Pluck, Take: n % 10, RMS: 20 + float64(n%997)/1000, Peak: 60, Freq: 330, Window: 500, Quiet: 0.3, Excite: "travel", Status: record.OK,
	}
}

// digest is that of all of a bench's own files.
func (b *bench) digest() (sum [sha256.Size]byte, err error) {
	h := sha256.New()
	err = filepath.WalkDir(b.dir, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && d.Name() == shop.SharedDir:
			return filepath.SkipDir
		case d.IsDir():
			return nil
		}
		text, err := os.ReadFile(path)
		fmt.Fprintln(h, path, len(text))
		h.Write(text)
		return err
	})
	h.Sum(sum[:0])
	return sum, err
}

func (w *world) share(b *bench) *exec.Cmd {
	return exec.Command(w.program, "share", "--shop", b.dir, "--bench", b.name)
}

// together has all benches share at once.
func (w *world) together(list []*bench) error {
	errs := make([]error, len(list))
	var all sync.WaitGroup
	for i, b := range list {
		all.Go(func() {
			if text, err := w.share(b).CombinedOutput(); err != nil {
				errs[i] = fmt.Errorf("%s: %w: %s", b.name, err, text)
			}
		})
	}
	all.Wait()
	return errors.Join(errs...)
}

func (w *world) atOnce() error {
	list, database, err := w.begin("at-once", w.benches, w.rows)
	if err != nil {
		return err
	}
	began := time.Now()
	if err := w.together(list); err != nil {
		return err
	}
	pushed := time.Since(began)
	if err := w.together(list); err != nil {
		return err
	}
	fmt.Fprintf(w.out, "%d benches, %d readings each: pushed at once in %.0f s, all pulled after %.0f s\n", w.benches, w.rows, pushed.Seconds(), time.Since(began).Seconds())
	return w.compare(list, database)
}

// killRows is how many rows a bench of the second part begins with, and killMore how many
// are added before each run.
const (
	killRows = 2000
	killMore = 50
)

func (w *world) killing() error {
	if w.kills == 0 {
		return nil
	}
	list, database, err := w.begin("kills", min(w.benches, 3), killRows)
	if err != nil {
		return err
	}
	benches, servers := 0, 0
	for n := 0; benches+servers < w.kills; n++ {
		b := list[n%len(list)]
		if err := b.add(killMore); err != nil {
			return err
		}
		cmd := w.share(b)
		if err := cmd.Start(); err != nil {
			return err
		}
		time.Sleep(time.Duration(w.random.Int64N(int64(400 * time.Millisecond))))
		ofServer := n%4 == 3
		if ofServer {
			if err := w.server.Kill(); err != nil {
				return err
			}
		} else {
			cmd.Process.Kill()
		}
		err := cmd.Wait()
		switch {
		case ofServer:
			servers++
			if err := w.server.Start(); err != nil {
				return err
			}
		case err != nil:
			benches++
		}
	}
	for range 2 {
		if err := w.together(list); err != nil {
			return err
		}
	}
	fmt.Fprintf(w.out, "%d benches and %d servers killed at random instants\n", benches, servers)
	return w.compare(list, database)
}

// compare prints what is not as it should be.
func (w *world) compare(list []*bench, database string) error {
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, w.server.Connection("postgres", database))
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	want := 0
	for _, b := range list {
		want += b.rows
	}
	rows, distinct := 0, 0
	err = conn.QueryRow(ctx, `select count(*), count(distinct (c ->> 'jig', c ->> 'boot', c ->> 'seq')) from evenpole.entry, lateral (select cells::json as c) as j where stream = 'readings'`).Scan(&rows, &distinct)
	if err != nil {
		return err
	}
	lacking, twice, altered, touched := want-distinct, rows-distinct, 0, 0
	for _, b := range list {
		if now, err := b.digest(); err != nil || now != b.own {
			touched++
		}
		own, err := os.ReadFile(filepath.Join(b.dir, record.ReadingsFile))
		if err != nil {
			return err
		}
		for _, at := range list {
			if at == b {
				continue
			}
			copied, err := os.ReadFile(filepath.Join(at.dir, shop.SharedDir, "benches", b.name, record.ReadingsFile))
			if err != nil {
				return err
			}
			l, t, a := differences(own, copied)
			lacking, twice, altered = lacking+l, twice+t, altered+a
		}
	}
	fmt.Fprintf(w.out, "  readings lacking %d, twice %d, altered %d; benches whose files were touched %d\n", lacking, twice, altered, touched)
	w.wrong += lacking + twice + altered + touched
	return nil
}

// differences counts the lines of a file that a copy lacks, has twice or has not from it.
func differences(own, copied []byte) (lacking, twice, altered int) {
	if bytes.Equal(own, copied) {
		return 0, 0, 0
	}
	count := map[string]int{}
	for line := range strings.Lines(string(own)) {
		count[line]--
	}
	for line := range strings.Lines(string(copied)) {
		count[line]++
		switch n := count[line]; {
		case n > 1 || n == 1 && bytes.Contains(own, []byte(line)):
			twice++
		case n == 1:
			altered++
		}
	}
	for _, n := range count {
		if n < 0 {
			lacking++
		}
	}
	return lacking, twice, altered
}
