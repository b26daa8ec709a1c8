// Package postgres carries a shared record in a PostgreSQL database, version 15 or later.
//
// The way through the package:
//
//   - connect.go: how the database is reached, and errors that do not name it.
//   - schema/*.sql: the schema, one file for each version; owner.go: [Owner], who makes it,
//     admits benches and closes them out.
//   - copy.go: rows as COPY sends them.
//   - postgres.go: [Open], and the carrier that a bench's connection is.
//
// What a bench may do is decided by the database, not here: its role may read and append, a
// policy lets it append under its own name alone, triggers refuse to change, delete or
// truncate anything, and let no entry in that does not follow from the one before it.
package postgres

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"

	"evenpole/share"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// A Database is a share.Carrier.
type Database struct {
	settings *pgx.ConnConfig
	free     []*pgx.Conn
}

// Open connects to the database that the file says, or for a file that is not there, the
// environment, as libpq reads it. The error names neither.
func Open(ctx context.Context, file string) (*Database, error) {
	c, err := settings(file)
	if err != nil {
		return nil, err
	}
	d := &Database{settings: c}
	err = d.with(ctx, func(conn *pgx.Conn) error { return hasSchema(ctx, conn) })
	if err != nil {
		d.Close()
		return nil, err
	}
	return d, nil
}

// Close closes all connections.
func (d *Database) Close() error {
	var all []error
	for _, conn := range d.free {
		all = append(all, closeConn(conn))
	}
	d.free = nil
	return errors.Join(all...)
}

// take is a connection that nobody uses.
func (d *Database) take(ctx context.Context) (*pgx.Conn, error) {
	for n := len(d.free); n > 0; n = len(d.free) {
		conn := d.free[n-1]
		if d.free = d.free[:n-1]; !conn.IsClosed() {
			return conn, nil
		}
	}
	return connect(ctx, d.settings)
}

// with does something with a connection. Errors come out without names.
func (d *Database) with(ctx context.Context, do func(*pgx.Conn) error) error {
	conn, err := d.take(ctx)
	if err != nil {
		return err
	}
	err = do(conn)
	d.free = append(d.free, conn)
	return unnamed(err)
}

// Heads are those of all benches that are admitted or have been.
func (d *Database) Heads(ctx context.Context) (map[string]share.Heads, error) {
	out := map[string]share.Heads{}
	err := d.with(ctx, func(conn *pgx.Conn) error {
		clear(out)
		rows, err := conn.Query(ctx, `select b.name, s.stream, e.n, e.chain
			from evenpole.bench b
			cross join unnest($1::text[]) as s(stream)
			left join lateral (select e.n, e.chain from evenpole.entry e where e.bench = b.name and e.stream = s.stream order by e.n desc limit 1) e on true`, streams())
		if err != nil {
			return err
		}
		var bench, stream string
		var n *int64
		var chain *string
		_, err = pgx.ForEachRow(rows, []any{&bench, &stream, &n, &chain}, func() error {
			if out[bench] == nil {
				out[bench] = share.Heads{}
			}
			if n != nil && chain != nil {
				out[bench][share.Stream(stream)] = share.Head{N: *n, Chain: *chain}
			}
			return nil
		})
		return err
	})
	return out, err
}

func streams() (out []string) {
	for _, s := range share.Streams() {
		out = append(out, string(s))
	}
	return out
}

// Read streams the entries by COPY. A connection whose rows were not read to the end is
// closed.
func (d *Database) Read(ctx context.Context, bench string, s share.Stream, after int64) iter.Seq2[share.Entry, error] {
	return func(yield func(share.Entry, error) bool) {
		if err := share.CheckBench(bench); err != nil {
			yield(share.Entry{}, err)
			return
		}
		conn, err := d.take(ctx)
		if err != nil {
			yield(share.Entry{}, err)
			return
		}
		// COPY takes no parameters: a bench's name has neither quotes nor backslashes.
		rows := copyOut(ctx, conn, fmt.Sprintf("copy (select n, chain, cells from evenpole.entry where bench = '%s' and stream = '%s' and n > %d order by n) to stdout (format binary)", bench, s, after))
		defer func() {
			rows.Close()
			d.free = append(d.free, conn)
		}()
		for {
			e, err := rows.next()
			if err == io.EOF {
				return
			}
			e.Stream = s
			if !yield(e, unnamed(err)) || err != nil {
				return
			}
		}
	}
}

// Append adds entries in one transaction.
func (d *Database) Append(ctx context.Context, bench string, entries []share.Entry) error {
	var stream, chain, cells []string
	var n []int64
	for _, e := range entries {
		stream, n, chain, cells = append(stream, string(e.Stream)), append(n, e.N), append(chain, e.Chain), append(cells, e.Cells)
	}
	return d.with(ctx, func(conn *pgx.Conn) error {
		if err := admitted(ctx, conn, bench); err != nil {
			return err
		}
		err := pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
			tag, err := tx.Exec(ctx, `insert into evenpole.entry (bench, stream, n, chain, cells)
				select $1, a.stream, a.n, a.chain, a.cells from unnest($2::text[], $3::bigint[], $4::text[], $5::text[]) as a(stream, n, chain, cells)
				order by a.stream, a.n on conflict (bench, stream, n) do nothing`, bench, stream, n, chain, cells)
			if err != nil || int(tag.RowsAffected()) == len(entries) {
				return err
			}
			return sameThere(ctx, tx, bench, stream, n, chain)
		})
		if pg := (*pgconn.PgError)(nil); errors.As(err, &pg) && pg.Code == "42501" { // it may have been closed out meanwhile
			return errors.Join(admitted(ctx, conn, bench), err)
		}
		return err
	})
}

// sameThere refuses entries of which another process of the bench has added others
// meanwhile.
func sameThere(ctx context.Context, tx pgx.Tx, bench string, stream []string, n []int64, chain []string) error {
	var s string
	var at int64
	err := tx.QueryRow(ctx, `select a.stream, a.n from unnest($2::text[], $3::bigint[], $4::text[]) as a(stream, n, chain)
		join evenpole.entry e on e.bench = $1 and e.stream = a.stream and e.n = a.n
		where e.chain <> a.chain order by a.stream, a.n limit 1`, bench, stream, n, chain).Scan(&s, &at)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	return &share.DivergedError{Bench: bench, Stream: share.Stream(s), N: at}
}

// admitted refuses a bench that may not append by this connection's role.
func admitted(ctx context.Context, conn *pgx.Conn, bench string) error {
	own, closed := false, false
	err := conn.QueryRow(ctx, "select role = current_user, closed is not null from evenpole.bench where name = $1", bench).Scan(&own, &closed)
	switch {
	case errors.Is(err, pgx.ErrNoRows) || err == nil && !own:
		return &Error{share.ErrNotAdmitted.Error() + fmt.Sprintf(" as %q by the role that it connects with: the owner runs 'evenpole share admit'", bench), share.ErrNotAdmitted}
	case err == nil && closed:
		return &Error{share.ErrClosed.Error(), share.ErrClosed}
	}
	return err
}

// Scan has the database work out all chains anew.
func (d *Database) Scan(ctx context.Context) ([]share.Fault, error) {
	var out []share.Fault
	err := d.with(ctx, func(conn *pgx.Conn) error {
		out = nil
		rows, err := conn.Query(ctx, `select bench, stream, min(n) from (
				select bench, stream, n, chain, row_number() over w as place,
					evenpole.next(lag(chain, 1, evenpole.start(bench, stream)) over w, n, cells) as want
				from evenpole.entry window w as (partition by bench, stream order by n)) as x
			where chain is distinct from want or n <> place group by bench, stream order by bench, stream`)
		if err != nil {
			return err
		}
		var f share.Fault
		var stream string
		_, err = pgx.ForEachRow(rows, []any{&f.Bench, &stream, &f.N}, func() error {
			f.Stream, f.Text = share.Stream(stream), "it was altered in the database: it is not what its chain stands for"
			out = append(out, f)
			return nil
		})
		return err
	})
	return out, err
}
