package gain

import (
	"fmt"
	"io"
	"iter"
	"math"
	"strconv"

	"evenpole/capture/record"
	"evenpole/capture/record/sheet"
	"evenpole/fit/cell"
	"evenpole/fit/level"
)

// OfSession is readings of a source that a capture made, each string's the mean
// of its good takes.
func OfSession(rows iter.Seq2[record.Reading, error], jig, session string, source, sourceU float64) ([]Reading, error) {
	data, err := cell.GatherOnly(func(r *record.Reading) bool { return r.Session == session && r.Jig == jig }, rows)
	if err != nil {
		return nil, err
	}
	var out []Reading
	for _, c := range data.Cells {
		mean, sd := c.Plain()
		out = append(out, Reading{String: c.String, Source: source, SourceU: sourceU, MV: math.Exp(mean), N: c.Takes, SD: float64(level.Ln(sd).DB())})
	}
	if len(out) == 0 {
		return nil, &InputError{fmt.Sprintf("session %q: expected good takes of jig %q in the record, got none", session, jig)}
	}
	return out, nil
}

// ReadPoints reads readings from a CSV file with a header row: source_mv,
// source_u_mv, reading_mv and, where channels are read one by one, string. A
// mistake is a [*record.RowError]; name stands for the file in it.
func ReadPoints(r io.Reader, name string) ([]Reading, error) {
	rows, err := sheet.ReadList(r, name, "source_mv", "source_u_mv", "reading_mv")
	if err != nil {
		return nil, err
	}
	var out []Reading
	for i := range rows {
		p, err := pointOf(&rows[i])
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// pointOf reads one row.
func pointOf(row *sheet.ListRow) (Reading, error) {
	var wrong error
	number := func(column string) float64 {
		v, err := strconv.ParseFloat(row.Cell(column), 64)
		if err != nil || v < 0 || math.IsInf(v, 0) || math.IsNaN(v) {
			wrong = row.Wrong(column, "expected a number of 0 or more, got %q", row.Cell(column))
		}
		return v
	}
	p := Reading{Source: number("source_mv"), SourceU: number("source_u_mv"), MV: number("reading_mv"), N: 1}
	if text := row.Cell("string"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 {
			wrong = row.Wrong("string", "expected a whole number from 1, got %q", text)
		}
		p.String = n
	}
	return p, wrong
}

// Given is readings that were written down, mV, of one source on one channel.
func Given(mv []float64, str int, source, sourceU float64) []Reading {
	var out []Reading
	for _, v := range mv {
		out = append(out, Reading{String: str, Source: source, SourceU: sourceU, MV: v, N: 1})
	}
	return out
}
