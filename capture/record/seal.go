package record

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"

	"evenpole/capture/record/disk"
)

// A seal holds a digest of what a row says. Seals stand in a file beside the
// record, one line a row: readings.seals.csv, fields.seals.csv. Nothing but
// [Verify] reads them. They tell slips, damage and quiet edits; they are no
// defence against someone who rewrites both files.
//
// The columns are row, which counts the rows that were written; digest; chain;
// and remark. Digest and chain are the first 16 hex digits of a SHA-256. The
// digest is that of, for each cell that is not empty, in the order of the
// columns' names,
//
//	NAME=LENGTH:VALUE and LF, LENGTH in bytes
//
// of the columns that this program knows. A value has no spaces round it, and LF
// for its line ends; in a column with a unit, the zeros that end the decimals
// are left out, and the point after them; a status of ok is left out. So a row
// stays what it was when columns are added or moved, or when a spreadsheet
// writes 0.2540 as 0.254. The chain is that of the chain of the line before
// (nothing for the first), row, digest and remark, with LF after each: it tells
// whether the seals themselves are whole.
//
// A row is written and synced, then sealed. What a crash left without a seal is
// sealed by the next writer, with a remark.
type seal struct {
	row    int
	digest string // "" says that the rows up to this one were never sealed
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

// sealRow is a row of a file of seals as text.
type sealRow struct {
	Row    string `csv:"row"`
	Digest string `csv:"digest"`
	Chain  string `csv:"chain"`
	Remark string `csv:"remark"`
}

// after chains a seal to the one before.
func (s seal) after(before seal) seal {
	s.chain = digest(fmt.Appendf(nil, "%s\n%d\n%s\n%s\n", before.chain, s.row, s.digest, s.remark))
	return s
}

func (s seal) cells() []string { return []string{strconv.Itoa(s.row), s.digest, s.chain, s.remark} }

func (w *sealRow) parse(c *cells, line int) seal {
	s := seal{c.count("row", w.Row, math.MaxInt), w.Digest, w.Chain, word(c, "remark", w.Remark, neverSealed, afterCrash, foundLater, accepted), line}
	want := fmt.Sprintf("%d digits, each 0 to 9 or a to f", digestDigits)
	switch {
	case s.row == 0:
		c.fail("row", w.Row, "a whole number from 1")
	case !isDigest(s.digest) && (s.digest != "" || s.remark != neverSealed):
		c.fail("digest", w.Digest, want)
	case !isDigest(s.chain):
		c.fail("chain", w.Chain, want)
	}
	return s
}

// digestDigits is how many hex digits of a SHA-256 are kept: by chance, one
// altered row in 2^64 has the same.
const digestDigits = 16

func isDigest(s string) bool {
	return len(s) == digestDigits && strings.Trim(s, "0123456789abcdef") == ""
}

// readSeals reads a file of seals.
func readSeals(r io.Reader, name string) iter.Seq2[seal, error] {
	return read(r, name, columnsOf[sealRow](), (*sealRow).parse)
}

// sealsPath is where the seals of a record are.
func sealsPath(record string) string { return strings.TrimSuffix(record, ".csv") + ".seals.csv" }

func digest(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:digestDigits/2])
}

// say returns what a row says, as its seal covers it.
func say[W any](w *W) []byte {
	var b []byte
	v := reflect.ValueOf(w).Elem()
	for _, f := range sealedFields(v.Type()) {
		text := strings.TrimSpace(strings.ReplaceAll(v.Field(f.index).String(), "\r\n", "\n"))
		if f.unit {
			text = shortest(text)
		}
		if text == "" || f.name == "status" && text == string(OK) {
			continue
		}
		b = append(append(b, f.name...), '=')
		b = append(strconv.AppendInt(b, int64(len(text)), 10), ':')
		b = append(append(b, text...), '\n')
	}
	return b
}

type sealedField struct {
	name  string
	index int
	unit  bool // its cells are numbers with one
}

// sealedOf remembers what sealedFields returned, by row type.
var sealedOf sync.Map

// sealedFields lists the columns of a row type by name.
func sealedFields(t reflect.Type) []sealedField {
	if all, ok := sealedOf.Load(t); ok {
		return all.([]sealedField)
	}
	all := make([]sealedField, t.NumField())
	for i := range all {
		name := t.Field(i).Tag.Get("csv")
		all[i] = sealedField{name, i, hasUnit(name)}
	}
	slices.SortFunc(all, func(a, b sealedField) int { return cmp.Compare(a.name, b.name) })
	sealedOf.Store(t, all)
	return all
}

func hasUnit(column string) bool {
	for _, unit := range []string{"_mm", "_mv", "_mt", "_hz", "_ms"} {
		if strings.HasSuffix(column, unit) {
			return true
		}
	}
	return false
}

// shortest takes from a decimal number the zeros that end its decimals.
func shortest(number string) string {
	if !strings.Contains(number, ".") || strings.Trim(number, "-0123456789.") != "" {
		return number
	}
	return strings.TrimSuffix(strings.TrimRight(number, "0"), ".")
}

// A sealer appends seals. Its zero value seals nothing.
type sealer struct {
	path   string
	file   disk.Appender
	create func(path string) (disk.Appender, error)
	last   seal
	owed   [][]string // lines to write before the first seal
}

// openSealer looks at a record and its seals, and refuses a file that is no
// file of seals. Nothing is written: what stands in the record without a seal is
// sealed with the next row, with the remark why.
func openSealer[W any](record, why string, create func(path string) (disk.Appender, error)) (sealer, error) {
	z := sealer{path: sealsPath(record), create: create}
	info, err := os.Stat(z.path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return z, err
	}
	started := err == nil
	if err != nil || info.Size() == 0 {
		z.owed = [][]string{columnsOf[sealRow]()}
	} else if z.last, err = lastSeal(z.path); err != nil {
		return z, err
	}
	rows, unsealed, err := rowsAfter[W](record, z.last)
	if !started && rows > 0 {
		z.owe(seal{row: rows, remark: neverSealed})
		return z, err
	}
	for _, said := range unsealed {
		z.owe(seal{row: z.last.row + 1, digest: said, remark: why})
	}
	return z, err
}

// rowsAfter counts the rows of a record, and returns the digests of those that
// follow the last one that a seal is of. When there is none of which it is, as
// that was altered, the number of rows tells which are new.
func rowsAfter[W any](record string, last seal) (rows int, unsealed []string, err error) {
	met := false
	err = scanFile(record, func(w *W, _ *cells, _ *RowError) {
		rows++
		said := digest(sayIf(w))
		switch {
		case said == last.digest:
			met, unsealed = true, nil
		case met || rows > last.row:
			unsealed = append(unsealed, said)
		}
	})
	return rows, unsealed, err
}

func (z *sealer) owe(s seal) {
	z.last = s.after(z.last)
	z.owed = append(z.owed, z.last.cells())
}

// lastSeal returns the last seal that can be read. A header that is wrong is an
// error; wrong lines are left for Verify to find.
func lastSeal(path string) (last seal, err error) {
	for s, err := range readFile(path, readSeals) {
		var row *RowError
		switch {
		case err == nil:
			last = s
		case !errors.As(err, &row) || row.Line == 1:
			return seal{}, err
		}
	}
	return last, nil
}

// endsAsSealed tells whether the last row of a record says what the newest seal
// says.
func endsAsSealed[W any](record string) bool {
	newest, err := lastSeal(sealsPath(record))
	if err != nil || newest.digest == "" {
		return false
	}
	f, err := os.Open(record)
	if err != nil {
		return false
	}
	defer f.Close()
	last := ""
	err = scan(f, record, func(w *W, _ *cells, _ *RowError) { last = digest(sayIf(w)) })
	return err == nil && last == newest.digest
}

// begin opens the file, so that it is there before the first row is.
func (z *sealer) begin() error {
	if z.file != nil || z.create == nil {
		return nil
	}
	f, err := z.create(z.path)
	if err != nil {
		return err
	}
	z.file = f
	if len(z.owed) == 0 {
		return nil
	}
	if err := putLines(z.file, false, z.owed); err != nil {
		return err
	}
	z.owed = nil
	return errors.Join(z.file.Sync(), disk.SyncDir(filepath.Dir(z.path)))
}

// add seals rows that are on the disk. It does not wait for its own lines to
// be: the next writer makes up for what a power cut takes of them.
func (z *sealer) add(said ...[]byte) error {
	if z.create == nil {
		return nil
	}
	if err := z.begin(); err != nil {
		return err
	}
	lines := make([][]string, len(said))
	for i, text := range said {
		z.last = seal{row: z.last.row + 1, digest: digest(text)}.after(z.last)
		lines[i] = z.last.cells()
	}
	return putLines(z.file, false, lines)
}

func (z *sealer) close() error {
	if z.file == nil {
		return nil
	}
	err := errors.Join(z.file.Sync(), z.file.Close())
	z.file = nil
	if err != nil {
		return &disk.WriteError{Path: z.path, Err: err}
	}
	return nil
}

// putLines writes CSV records in one go.
func putLines(to io.Writer, lf bool, lines [][]string) error {
	var text bytes.Buffer
	w := csv.NewWriter(&text)
	w.UseCRLF = !lf // as RFC 4180 has it
	if err := w.WriteAll(lines); err != nil {
		return err
	}
	_, err := to.Write(text.Bytes())
	return err
}

// sayIf is say for a row that may not be readable: it then says nothing.
func sayIf[W any](w *W) []byte {
	if w == nil {
		return nil
	}
	return say(w)
}

// scan reads a file of rows of type W. A line that is no row comes as an error
// without a row; row may go on to ask c for its values.
func scan[W any](r io.Reader, name string, row func(w *W, c *cells, bad *RowError)) error {
	t, err := openTable[W](r, name, nil)
	if err != nil {
		return err
	}
	for {
		w, line, err := t.next()
		var bad *RowError
		switch {
		case err == io.EOF:
			return nil
		case err != nil && !errors.As(err, &bad):
			return err
		}
		if bad != nil {
			line = bad.Line
		}
		row(w, &cells{place: t.place, line: line}, bad)
	}
}

// scanFile scans a file that may not be there, or may have nothing in it.
func scanFile[W any](path string, row func(*W, *cells, *RowError)) error {
	f, err := openNow(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer f.Close()
	if f.Size() == 0 {
		return nil
	}
	return scan(f, path, row)
}
