package postgres

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"evenpole/share"

	"github.com/jackc/pgx/v5"
)

// copied are the rows that a COPY sends in PostgreSQL's binary format (its manual, COPY,
// "Binary Format"): a signature and a header, then each row as the number of its fields,
// each with its length, and -1 in the place of a number at the end; all of it big-endian.
type copied struct {
	in    *bufio.Reader
	pipe  *io.PipeReader
	ended chan struct{}
	begun bool
}

var signature = []byte("PGCOPY\n\xff\r\n\x00")

// copyOut runs a COPY of n, chain and cells. The connection is busy until Close.
func copyOut(ctx context.Context, conn *pgx.Conn, sql string) *copied {
	out, in := io.Pipe()
	c := &copied{in: bufio.NewReaderSize(out, 256<<10), pipe: out, ended: make(chan struct{})}
	go func() {
		defer close(c.ended)
		_, err := conn.PgConn().CopyTo(ctx, in, sql)
		if err == nil {
			err = io.EOF
		}
		in.CloseWithError(err)
	}()
	return c
}

// Close ends the COPY, and the connection with it where rows were left.
func (c *copied) Close() {
	c.pipe.CloseWithError(errors.New("no more rows are wanted"))
	<-c.ended
}

// next is the next row; io.EOF after the last.
func (c *copied) next() (e share.Entry, err error) {
	if !c.begun {
		if err := c.header(); err != nil {
			return e, err
		}
		c.begun = true
	}
	var fields int16
	if err := binary.Read(c.in, binary.BigEndian, &fields); err != nil {
		return e, early(err)
	}
	if fields == -1 {
		_, err := c.in.ReadByte() // the server's word that all rows were sent
		if err == nil {
			err = errors.New("a COPY goes on after its end")
		}
		return e, err
	}
	if fields != 3 {
		return e, fmt.Errorf("expected 3 fields of a COPY, got %d", fields)
	}
	n, err := c.field(8)
	if err != nil {
		return e, err
	}
	if len(n) != 8 {
		return e, errors.New("expected a number of 8 bytes of a COPY")
	}
	chain, err := c.field(256)
	if err != nil {
		return e, err
	}
	cells, err := c.field(share.MostCells)
	return share.Entry{N: int64(binary.BigEndian.Uint64(n)), Chain: string(chain), Cells: string(cells)}, err
}

func (c *copied) header() error {
	start := make([]byte, len(signature)+8)
	if _, err := io.ReadFull(c.in, start); err != nil {
		return early(err)
	}
	if !bytes.HasPrefix(start, signature) {
		return errors.New("expected a COPY in binary format")
	}
	_, err := io.CopyN(io.Discard, c.in, int64(binary.BigEndian.Uint32(start[len(signature)+4:])))
	return early(err)
}

// field reads a field of at most so many bytes.
func (c *copied) field(most int) ([]byte, error) {
	var size int32
	if err := binary.Read(c.in, binary.BigEndian, &size); err != nil {
		return nil, early(err)
	}
	if size < 0 || int(size) > most {
		return nil, fmt.Errorf("expected a field of at most %d bytes of a COPY, got %d", most, size)
	}
	b := make([]byte, size)
	_, err := io.ReadFull(c.in, b)
	return b, early(err)
}

// early is the error of rows that end too early.
func early(err error) error {
	if err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}
