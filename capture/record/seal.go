package record

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"iter"
	"math"
	"strconv"
	"strings"

	"evenpole/capture/record/table"
)

// A seal holds a digest of what a row says. Seals stand in a file beside the
// record, one line a row: readings.seals.csv, fields.seals.csv. Nothing but
// [Verify] reads them. They show slips, damage and edits that nobody told
// of; they are no defence against someone who rewrites both files.
//
// The columns are row, which numbers the rows that were written; digest; chain;
// and remark. Digest and chain are the first 16 hex digits of a SHA-256. The
// digest is that of, for each cell that is not empty, in the order of the
// columns' names,
//
//	NAME=LENGTH:VALUE and LF, LENGTH in bytes
//
// of the columns that this program knows. A value is what the cell says, without the
// apostrophe before what would be a formula (table.Guarded). It has no spaces round it, and LF
// for its line ends; in a column with a unit, the zeros that end the decimals
// are left out, and the point after them; a status of ok is left out. So a row
// has the same digest when columns are added or moved, or when a spreadsheet writes
// 0.2540 as 0.254. The chain is that of the chain of the line before
// (nothing for the first), row, digest and remark, with LF after each: it shows
// whether the seals themselves were altered.
//
// For other programs that check seals, testdata/seals has this in full, with vectors that
// another program worked out.
//
// A row is written and synced, then sealed. What a crash left without a seal is
// sealed by the next writer when it opens the record, with a remark.
type seal struct {
	row    int
	digest string // "" where the rows up to this one were never sealed
	chain  string
	remark string
	line   int
}

// Remarks of a seal that was not written together with its row.
const (
	neverSealed = "never sealed" // with no digest: rows from before there were seals
	afterCrash  = "after a crash"
	foundLater  = "found" // nobody knows who wrote the row
	accepted    = "accepted"
)

// sealColumns are the columns of a file of seals.
var sealColumns = table.New(
	table.Count("row", func(s *seal) *int { return &s.row }, math.MaxInt),
	table.Text("digest", func(s *seal) *string { return &s.digest }),
	table.Text("chain", func(s *seal) *string { return &s.chain }),
	table.Word("remark", func(s *seal) *string { return &s.remark }, []string{neverSealed, afterCrash, foundLater, accepted}),
).Finish((*seal).check)

// check refuses what cannot be a seal.
func (s *seal) check(c *table.Cells) {
	s.line = c.Line
	switch {
	case s.row == 0:
		c.Fail("row", "a whole number from 1")
	case !isDigest(s.digest) && (s.digest != "" || s.remark != neverSealed):
		c.Fail("digest", wantDigest)
	case !isDigest(s.chain):
		c.Fail("chain", wantDigest)
	}
}

// digestDigits is how many hex digits of a SHA-256 are kept: by chance, one
// altered row in 2^64 has the same.
const digestDigits = 16

var wantDigest = fmt.Sprintf("%d digits, each 0 to 9 or a to f", digestDigits)

func isDigest(s string) bool {
	for i := range len(s) {
		if c := s[i]; !(c >= '0' && c <= '9' || c >= 'a' && c <= 'f') {
			return false
		}
	}
	return len(s) == digestDigits
}

// after returns the seal with its chain, which goes on from the seal before.
func (s seal) after(before seal) seal {
	var room [160]byte
	b := append(append(room[:0], before.chain...), '\n')
	b = append(strconv.AppendInt(b, int64(s.row), 10), '\n')
	b = append(append(b, s.digest...), '\n')
	b = append(append(b, s.remark...), '\n')
	s.chain = digest(b)
	return s
}

// readSeals reads a file of seals.
func readSeals(r io.Reader, name string) iter.Seq2[seal, error] {
	return table.Read(r, name, sealColumns, sealColumns.Names)
}

// sealsPath is where the seals of a record are.
func sealsPath(record string) string { return strings.TrimSuffix(record, ".csv") + ".seals.csv" }

func digest(text []byte) string {
	d := hexDigestOf(text)
	return string(d[:])
}

// hexDigest is a digest as it stands in a file of seals.
type hexDigest [digestDigits]byte

func hexDigestOf(text []byte) (d hexDigest) {
	sum := sha256.Sum256(text)
	hex.Encode(d[:], sum[:digestDigits/2])
	return d
}

// digestOf returns the digest of a row; that of a line that is no row is the digest
// of nothing.
func digestOf(columns *table.Layout, row table.Row) hexDigest {
	if row == nil {
		return hexDigestOf(nil)
	}
	var room [512]byte // for most rows
	return hexDigestOf(appendSealed(room[:0], columns, row))
}

// rowDigest is digestOf as a seal has it.
func rowDigest(columns *table.Layout, row table.Row) string {
	d := digestOf(columns, row)
	return string(d[:])
}

// sealedText returns what a row says, as its seal covers it.
func sealedText(columns *table.Layout, row table.Row) []byte { return appendSealed(nil, columns, row) }

func appendSealed(b []byte, columns *table.Layout, row table.Row) []byte {
	for _, i := range columns.ByName {
		name, text := columns.Names[i], row[i]
		if text == "" {
			continue
		}
		if strings.IndexByte(text, '\r') >= 0 {
			text = strings.ReplaceAll(text, "\r\n", "\n")
		}
		text = strings.TrimSpace(text)
		if columns.Number[i] {
			text = shortest(text)
		}
		if text == "" || name == "status" && text == string(OK) {
			continue
		}
		b = append(append(b, name...), '=')
		b = append(strconv.AppendInt(b, int64(len(text)), 10), ':')
		b = append(append(b, text...), '\n')
	}
	return b
}

// shortest leaves out the zeros that end the decimals of a number.
func shortest(number string) string {
	point := false
	for i := range len(number) {
		switch c := number[i]; {
		case c == '.':
			point = true
		case c != '-' && (c < '0' || c > '9'):
			return number
		}
	}
	if !point {
		return number
	}
	return strings.TrimSuffix(strings.TrimRight(number, "0"), ".")
}
