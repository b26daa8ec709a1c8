package folder

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"maps"
	"os"
	"regexp"
	"slices"
	"strconv"

	"evenpole/capture/record/disk"
	"evenpole/share"
)

// A bundle is a text file of lines, each a JSON object and LF:
//
//	{"evenpole":"bundle","format":1,"bench":"north","number":2,"entries":42,"heads":{...}}
//	{"stream":"readings","n":713,"chain":"...","cells":"..."}
//	...
//	{"sha256":"..."}
//
// The first says of which bench it is, how many lines of entries follow, and how far each
// stream is after it. The last has the SHA-256 of all bytes before it; a file that lacks it
// has not arrived whole.
type head struct {
	Mark    string      `json:"evenpole"`
	Format  int         `json:"format"`
	Bench   string      `json:"bench"`
	Number  int         `json:"number"`
	Entries int         `json:"entries"`
	Heads   share.Heads `json:"heads"`

	path   string
	before share.Heads
}

const (
	bundleMark   = "bundle"
	bundleFormat = 1
)

// What a bundle may take, so that one from elsewhere costs no more than what is written
// here: bytes in all, bytes in a line, and entries.
const (
	mostBytes   = 64 << 20
	mostLine    = 3 * share.MostCells
	mostEntries = 1 << 20
)

// end is the last line.
type end struct {
	Digest string `json:"sha256"`
}

// endSize is how many bytes the last line takes.
var endSize = len(mustJSON(end{hex.EncodeToString(make([]byte, sha256.Size))}))

// bad says what is wrong with a bundle.
func bad(path, format string, args ...any) error {
	return &share.BadError{Msg: path + ": " + fmt.Sprintf(format, args...)}
}

func mustJSON(v any) []byte {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		panic(err) // of texts and numbers alone
	}
	return b.Bytes()
}

var bundleName = regexp.MustCompile(`^([0-9]{6})\.bundle$`)

// bundleNumber reads the name of a bundle.
func bundleNumber(name string) (n int, ok bool) {
	m := bundleName.FindStringSubmatch(name)
	if m == nil {
		return 0, false
	}
	n, _ = strconv.Atoi(m[1]) // six digits fit
	return n, true
}

// writeBundle writes a bundle, which must not be there yet.
func writeBundle(path, bench string, number int, before share.Heads, entries []share.Entry) error {
	heads := maps.Clone(before)
	for _, e := range entries {
		heads[e.Stream] = share.Head{N: e.N, Chain: e.Chain}
	}
	return disk.CreateFile(path, func(to io.Writer) error {
		sum := sha256.New()
		both := io.MultiWriter(to, sum)
		if _, err := both.Write(mustJSON(head{Mark: bundleMark, Format: bundleFormat, Bench: bench, Number: number, Entries: len(entries), Heads: heads})); err != nil {
			return err
		}
		for _, e := range entries {
			if _, err := both.Write(mustJSON(e)); err != nil {
				return err
			}
		}
		_, err := to.Write(mustJSON(end{hex.EncodeToString(sum.Sum(nil))}))
		return err
	})
}

// open opens a bundle, which must be a plain file and no link.
func open(path string) (*os.File, int64, error) {
	info, err := os.Lstat(path)
	if err != nil {
		return nil, 0, err
	}
	if !info.Mode().IsRegular() {
		return nil, 0, bad(path, "expected a plain file")
	}
	if info.Size() > mostBytes {
		return nil, 0, bad(path, "expected at most %d MiB, got %d", mostBytes>>20, info.Size()>>20)
	}
	f, err := disk.Open(path)
	return f, info.Size(), err
}

// readHead reads the first line of a bundle that is whole, and refuses one that does not
// follow from the bundles before it.
func readHead(path, bench string, number int, before share.Heads) (*head, error) {
	f, size, err := open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	bad := func(format string, args ...any) error { return bad(path, format, args...) }
	last := make([]byte, endSize)
	if n, err := f.ReadAt(last, max(size-int64(endSize), 0)); err != nil && err != io.EOF {
		return nil, err
	} else if n < endSize || !isEnd(last) {
		return nil, bad("it is not whole: has all of it arrived?")
	}
	line, err := readLine(bufio.NewReader(f))
	if err != nil {
		return nil, bad("%v", err)
	}
	h := &head{path: path, before: before}
	d := json.NewDecoder(bytes.NewReader(line))
	if err := d.Decode(h); err != nil || h.Mark != bundleMark {
		return nil, bad("expected the first line of a bundle")
	}
	switch {
	case h.Format != bundleFormat:
		return nil, bad("it is of format %d: use a newer program", h.Format)
	case h.Bench != bench || h.Number != number:
		return nil, bad("it is bundle %d of bench %.60q, under another name", h.Number, h.Bench)
	case h.Entries < 1 || h.Entries > mostEntries:
		return nil, bad("expected 1 to %d entries, got %d", mostEntries, h.Entries)
	}
	return h, h.check(bad)
}

// check refuses heads that cannot follow from those before.
func (h *head) check(bad func(string, ...any) error) error {
	more := int64(0)
	for _, s := range share.Streams() {
		grown := h.Heads.Of(h.Bench, s).N - h.before.Of(h.Bench, s).N
		if grown < 0 || grown > int64(h.Entries) || !share.IsChain(h.Heads.Of(h.Bench, s).Chain) {
			return bad("%s: it does not follow from the bundles before it", s)
		}
		more += grown
	}
	if more != int64(h.Entries) || len(h.Heads) > len(share.Streams()) {
		return bad("it does not follow from the bundles before it")
	}
	return nil
}

func isEnd(line []byte) bool {
	var e end
	return json.Unmarshal(line, &e) == nil && len(e.Digest) == 2*sha256.Size && bytes.Equal(mustJSON(e), line)
}

// entries are those of the bundle. They are compared with its digest first, and then, one
// by one, with the chains.
func (h *head) entries(ctx context.Context) iter.Seq2[share.Entry, error] {
	return func(yield func(share.Entry, error) bool) {
		if err := h.read(ctx, func(e share.Entry) bool { return yield(e, nil) }); err != nil {
			yield(share.Entry{}, err)
		}
	}
}

func (h *head) read(ctx context.Context, do func(share.Entry) bool) error {
	f, size, err := open(h.path)
	if err != nil {
		return err
	}
	defer f.Close()
	bad := func(format string, args ...any) error { return bad(h.path, format, args...) }
	if err := checkDigest(f, size); err != nil {
		return bad("%v", err)
	}
	in := bufio.NewReaderSize(io.NewSectionReader(f, 0, size-int64(endSize)), 64<<10)
	if _, err := readLine(in); err != nil {
		return bad("%v", err)
	}
	at := maps.Clone(h.before)
	for n := range h.Entries {
		if err := ctx.Err(); n%1000 == 0 && err != nil {
			return err
		}
		line, err := readLine(in)
		if err != nil {
			return bad("entry %d: %v", n+1, err)
		}
		var e share.Entry
		if err := json.Unmarshal(line, &e); err != nil {
			return bad("entry %d: expected a JSON object of an entry", n+1)
		}
		want := at.Of(h.Bench, e.Stream).Next(e.Cells)
		if e.N != want.N || e.Chain != want.Chain || !slices.Contains(share.Streams(), e.Stream) {
			return bad("entry %d, %.20s %d, does not follow from those before it: it was altered", n+1, e.Stream, e.N)
		}
		at[e.Stream] = want
		if !do(e) {
			return nil
		}
	}
	for s, head := range at {
		if h.Heads[s] != head {
			return bad("its first line does not say what its entries say")
		}
	}
	if _, err := in.ReadByte(); err != io.EOF {
		return bad("it goes on after its entries")
	}
	return nil
}

// checkDigest compares what a file says with its last line.
func checkDigest(f io.ReaderAt, size int64) error {
	last := make([]byte, endSize)
	if _, err := f.ReadAt(last, max(size-int64(endSize), 0)); err != nil && err != io.EOF {
		return err
	}
	var e end
	sum := sha256.New()
	if _, err := io.Copy(sum, io.NewSectionReader(f, 0, size-int64(endSize))); err != nil {
		return err
	}
	if json.Unmarshal(last, &e) != nil || e.Digest != hex.EncodeToString(sum.Sum(nil)) {
		return errors.New("it was altered: it does not say what its last line stands for")
	}
	return nil
}

// readLine reads a line of bounded length.
func readLine(in *bufio.Reader) ([]byte, error) {
	var all []byte
	for {
		piece, err := in.ReadSlice('\n')
		all = append(all, piece...)
		switch {
		case len(all) > mostLine:
			return nil, fmt.Errorf("expected at most %d bytes in a line", mostLine)
		case err == nil:
			return all, nil
		case errors.Is(err, bufio.ErrBufferFull):
		case err == io.EOF:
			return nil, errors.New("the line has no end")
		default:
			return nil, err
		}
	}
}
