package gain

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"strconv"
	"strings"

	"evenpole/capture"
	"evenpole/fit"
)

// OfSession is readings of a source that a capture made, each string's the mean
// of its good takes.
func OfSession(rows iter.Seq2[capture.Reading, error], jig, session string, source, sourceU float64) ([]Reading, error) {
	data, err := fit.Gather(fit.Only(rows, func(r *capture.Reading) bool { return r.Session == session && r.Jig == jig }))
	if err != nil {
		return nil, err
	}
	var out []Reading
	for _, c := range data.Cells {
		mean, sd := c.Plain()
		out = append(out, Reading{String: c.String, Source: source, SourceU: sourceU, MV: math.Exp(mean), N: c.Takes, SD: decibel * sd})
	}
	if len(out) == 0 {
		return nil, &InputError{fmt.Sprintf("session %q: expected good takes of jig %q in the record, got none", session, jig)}
	}
	return out, nil
}

// ReadPoints reads readings from a CSV file with a header row: source_mv,
// source_u_mv, reading_mv and, where channels are read one by one, string. A
// mistake is a [*capture.RowError]; name stands for the file in it.
func ReadPoints(r io.Reader, name string) ([]Reading, error) {
	c := csv.NewReader(r)
	head, err := c.Read()
	if err != nil && err != io.EOF {
		return nil, rowError(name, err)
	}
	at := map[string]int{}
	for i, h := range head {
		at[strings.TrimSpace(strings.TrimPrefix(h, "\ufeff"))] = i
	}
	for _, need := range []string{"source_mv", "source_u_mv", "reading_mv"} {
		if _, ok := at[need]; !ok {
			return nil, &capture.RowError{File: name, Line: 1, Column: need, Msg: fmt.Sprintf("expected in the header, got %q", strings.Join(head, ","))}
		}
	}
	var out []Reading
	for {
		row, err := c.Read()
		if err == io.EOF {
			return out, nil
		}
		if err != nil {
			return nil, rowError(name, err)
		}
		p, err := pointOf(c, row, at, name)
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
}

// pointOf reads one row.
func pointOf(c *csv.Reader, row []string, at map[string]int, name string) (Reading, error) {
	var wrong error
	number := func(column string) float64 {
		i, ok := at[column]
		if !ok {
			return 0
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(row[i]), 64)
		if err != nil || v < 0 || math.IsInf(v, 0) || math.IsNaN(v) {
			line, _ := c.FieldPos(i)
			wrong = &capture.RowError{File: name, Line: line, Column: column, Msg: fmt.Sprintf("expected a number of 0 or more, got %q", row[i])}
		}
		return v
	}
	p := Reading{Source: number("source_mv"), SourceU: number("source_u_mv"), MV: number("reading_mv"), N: 1}
	if i, ok := at["string"]; ok && strings.TrimSpace(row[i]) != "" {
		p.String = int(number("string"))
	}
	return p, wrong
}

// rowError puts what the CSV library says in its place.
func rowError(name string, err error) error {
	var p *csv.ParseError
	if errors.As(err, &p) {
		return &capture.RowError{File: name, Line: p.Line, Msg: p.Err.Error()}
	}
	return fmt.Errorf("%s: %w", name, err)
}

// Given is readings that were written down, mV, of one source on one channel.
func Given(mv []float64, str int, source, sourceU float64) []Reading {
	var out []Reading
	for _, v := range mv {
		out = append(out, Reading{String: str, Source: source, SourceU: sourceU, MV: v, N: 1})
	}
	return out
}
