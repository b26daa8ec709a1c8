package postgres

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"runtime"
	"strings"
	"syscall"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/share"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// environment is what of libpq's says where a database is; one of these is enough.
var environment = []string{"PGSERVICE", "PGHOST", "PGDATABASE", "PGUSER", "PGPORT"}

// connectWait is how long a connection may take where nothing else is said.
const connectWait = 15 * time.Second

// mostConnection is how long a file with a connection may be, bytes.
const mostConnection = 4 << 10

// settings are how the database is reached: by the file, where there is one, and else by
// the environment. What they say is in no error.
func settings(file string) (*pgx.ConnConfig, error) {
	text, from, err := said(file)
	if err != nil {
		return nil, err
	}
	c, err := pgx.ParseConfig(text)
	if err != nil {
		return nil, &share.InputError{Msg: fmt.Sprintf("%s: expected settings of a connection as libpq has them, and files that they name, got something else", from)}
	}
	if c.ConnectTimeout == 0 {
		c.ConnectTimeout = connectWait
	}
	c.DefaultQueryExecMode = pgx.QueryExecModeExec // prepares nothing, which poolers would lose
	c.OnNotice = func(*pgconn.PgConn, *pgconn.Notice) {}
	return c, nil
}

// said is what the file says, or "" for the environment, and which of them it is.
func said(file string) (text, from string, err error) {
	info, err := os.Lstat(file)
	switch {
	case file == "" || errors.Is(err, fs.ErrNotExist):
		for _, name := range environment {
			if os.Getenv(name) != "" {
				return "", "the environment (PGHOST, PGSERVICE ...)", nil
			}
		}
		return "", "", &share.InputError{Msg: fmt.Sprintf("nothing says where the database is: set PGSERVICE, or PGHOST and PGDATABASE, or write %s", orFile(file))}
	case err != nil:
		return "", "", err
	case !info.Mode().IsRegular():
		return "", "", &disk.KindError{Path: file, Mode: info.Mode()}
	case runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0:
		return "", "", &share.InputError{Msg: fmt.Sprintf("%s: expected a file that its owner alone may read (chmod 600), got mode %04o", file, info.Mode().Perm())}
	case info.Size() > mostConnection:
		return "", "", &share.InputError{Msg: fmt.Sprintf("%s: expected at most %d bytes, got %d", file, mostConnection, info.Size())}
	}
	b, err := disk.ReadFile(file)
	if err != nil {
		return "", "", err
	}
	if text = strings.TrimSpace(string(b)); text == "" {
		return "", "", &share.InputError{Msg: file + ": expected the settings of a connection, got nothing"}
	}
	return text, file, nil
}

func orFile(file string) string {
	if file == "" {
		return "shared/" + share.ConnectionFile + " in a shop"
	}
	return file
}

// connect opens a connection.
func connect(ctx context.Context, c *pgx.ConnConfig) (*pgx.Conn, error) {
	conn, err := pgx.ConnectConfig(ctx, c)
	if err != nil {
		return nil, unnamed(err)
	}
	// Names mean the system's own, and what is committed is on the disk, whatever the
	// database's settings are.
	if _, err := conn.PgConn().Exec(ctx, "set search_path = pg_catalog; set synchronous_commit = on; set client_encoding = 'UTF8'").ReadAll(); err != nil {
		conn.Close(ctx)
		return nil, unnamed(err)
	}
	return conn, nil
}

// An Error is one of the database or of the way there. It names no host, no role and no
// database.
type Error struct {
	Msg string
	err error
}

// Error returns the message.
func (e *Error) Error() string { return e.Msg }

// Unwrap returns what came, which may name what Error does not.
func (e *Error) Unwrap() error { return e.err }

// unnamed says what happened without what the connection's settings say.
func unnamed(err error) error {
	if err == nil {
		return nil
	}
	var (
		said  *Error
		pg    *pgconn.PgError
		dns   *net.DNSError
		host  x509.HostnameError
		ca    x509.UnknownAuthorityError
		bad   x509.CertificateInvalidError
		cert  *tls.CertificateVerificationError
		errno syscall.Errno
	)
	msg := "the connection to the database was lost"
	switch {
	case errors.As(err, &said), errors.As(err, new(*share.InputError)), errors.As(err, new(*share.DivergedError)):
		return err
	case errors.Is(err, context.Canceled):
		return context.Canceled
	case errors.As(err, &pg):
		msg = serverSays(pg)
	case errors.As(err, &host), errors.As(err, &ca), errors.As(err, &bad), errors.As(err, &cert):
		msg = "no connection to the database: its certificate is not one that sslmode and sslrootcert accept"
	case errors.As(err, &dns):
		msg = "no connection to the database: its host has no address"
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, os.ErrDeadlineExceeded), pgconn.Timeout(err):
		msg = "no connection to the database: no answer in time"
	case errors.As(err, &errno):
		msg = "no connection to the database: " + errno.Error()
	case errors.As(err, new(*pgconn.ConnectError)):
		msg = "no connection to the database: is it one that speaks the protocol and the TLS that are asked for?"
	}
	return &Error{msg, err}
}

// serverSays is what the server says; of a login that it refuses, without names.
func serverSays(pg *pgconn.PgError) string {
	switch {
	case strings.HasPrefix(pg.Code, "28"):
		return fmt.Sprintf("the database refuses the login (SQLSTATE %s)", pg.Code)
	case pg.Code == "3D000":
		return "the server has no such database (SQLSTATE 3D000)"
	case pg.Code == "42501" && strings.Contains(pg.Message, "permission denied for database"):
		return "the role may not use this database (SQLSTATE 42501)"
	}
	return fmt.Sprintf("the database: %s (SQLSTATE %s)", pg.Message, pg.Code)
}
