package postgres

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"time"

	"evenpole/share"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

//go:embed schema/*.sql
var migrations embed.FS

// newest is the version of the schema that this program knows, and oldest the one that it
// needs to share.
const (
	newest = 3
	oldest = 1
)

// An Owner is a connection of the role that owns the shared record, or is to own it.
type Owner struct{ conn *pgx.Conn }

// OpenOwner connects: see Open.
func OpenOwner(ctx context.Context, file string) (*Owner, error) {
	c, err := settings(file)
	if err != nil {
		return nil, err
	}
	conn, err := connect(ctx, c)
	if err != nil {
		return nil, err
	}
	return &Owner{conn}, nil
}

// Close closes the connection.
func (o *Owner) Close() error { return closeConn(o.conn) }

func closeConn(conn *pgx.Conn) error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	return unnamed(conn.Close(ctx))
}

// Init makes the schema, or brings an earlier version up to date. It returns the version
// that was there, 0 for none, and the one that is there now.
func (o *Owner) Init(ctx context.Context) (from, to int, err error) { return o.migrate(ctx, newest) }

// turn is the number of the lock that keeps two migrations apart.
const turn = 0x6576656e706f6c65

// migrate brings the schema to a version, all of it or nothing.
func (o *Owner) migrate(ctx context.Context, upTo int) (from, to int, err error) {
	err = pgx.BeginFunc(ctx, o.conn, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, "select pg_advisory_xact_lock($1)", int64(turn)); err != nil {
			return err
		}
		v, err := versionOf(ctx, tx)
		if err != nil {
			return err
		}
		from, to = v.version, v.version
		for to < upTo {
			text, err := migrations.ReadFile(fmt.Sprintf("schema/%03d.sql", to+1))
			if err != nil {
				return err
			}
			if _, err := tx.Conn().PgConn().Exec(ctx, string(text)).ReadAll(); err != nil {
				return err
			}
			to++
		}
		return nil
	})
	return from, to, unnamed(err)
}

// version is that of a schema, and what the oldest program knows that may share by it.
type version struct{ version, oldest int }

// versionOf is that of the schema that is there; 0 where there is none.
func versionOf(ctx context.Context, q interface {
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
}) (v version, err error) {
	there := false
	if err := q.QueryRow(ctx, "select to_regclass('evenpole.version') is not null").Scan(&there); err != nil || !there {
		return v, err
	}
	err = q.QueryRow(ctx, "select coalesce(max(version), 0), coalesce(max(oldest), 0) from evenpole.version").Scan(&v.version, &v.oldest)
	return v, err
}

// Admit lets a role append under a bench's name; "" is the role evenpole_BENCH. A role that
// is not there is made, without a password. A bench that was closed out is admitted again.
func (o *Owner) Admit(ctx context.Context, bench, role string) error {
	if err := share.CheckBench(bench); err != nil {
		return err
	}
	if role == "" {
		role = "evenpole_" + bench
	}
	err := pgx.BeginFunc(ctx, o.conn, func(tx pgx.Tx) error {
		if err := hasSchema(ctx, tx); err != nil {
			return err
		}
		there := false
		if err := tx.QueryRow(ctx, "select exists (select from pg_roles where rolname = $1)", role).Scan(&there); err != nil {
			return err
		}
		name := pgx.Identifier{role}.Sanitize()
		if !there {
			if _, err := tx.Exec(ctx, "create role "+name+" login"); err != nil {
				return err
			}
		}
		if _, err := tx.Exec(ctx, "grant evenpole_bench to "+name); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, "insert into evenpole.bench (name, role) values ($1, $2) on conflict (name) do update set role = excluded.role, closed = null", bench, role)
		return err
	})
	return unnamed(err)
}

// CloseOut ends what a bench may append.
func (o *Owner) CloseOut(ctx context.Context, bench string) error {
	if err := hasSchema(ctx, o.conn); err != nil {
		return unnamed(err)
	}
	tag, err := o.conn.Exec(ctx, "update evenpole.bench set closed = coalesce(closed, now()) where name = $1", bench)
	if err == nil && tag.RowsAffected() == 0 {
		return &share.InputError{Msg: fmt.Sprintf("no bench %.60q is admitted", bench)}
	}
	return unnamed(err)
}

// hasSchema refuses a database without a schema, or with one that this program is too old
// for.
func hasSchema(ctx context.Context, q interface {
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
}) error {
	v, err := versionOf(ctx, q)
	if pg := (*pgconn.PgError)(nil); errors.As(err, &pg) && pg.Code == "42501" {
		return share.ErrNotAdmitted
	}
	switch {
	case err != nil:
		return err
	case v.version < oldest:
		return &Error{"the database has no shared record yet: its owner makes one with 'evenpole share init'", nil}
	case v.oldest > newest:
		return &Error{fmt.Sprintf("the shared record has schema version %d, and this program knows %d: use a newer program", v.version, newest), nil}
	}
	return nil
}
