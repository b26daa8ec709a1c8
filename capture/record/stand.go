package record

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"io"
	"iter"
	"os"
	"runtime"
	"sync"
	"sync/atomic"

	"evenpole/capture/record/pack"
)

// Reach is how far a readings file was read, and a digest of what stands there. A file
// with the same reach begins with the same bytes, so that the rows after them can be
// read alone.
type Reach struct {
	Size   int64 // bytes, up to the end of a line
	Header int64 // bytes of these that are the header
	Lines  int
	Digest [sha256.Size]byte // of all of them
}

// Pack writes the reach, or reads it.
func (r *Reach) Pack(c *pack.Coder) {
	pack.Whole(c, &r.Size)
	pack.Whole(c, &r.Header)
	pack.Whole(c, &r.Lines)
	digest := string(r.Digest[:])
	pack.Text(c, &digest)
	c.Check(len(digest) == sha256.Size)
	copy(r.Digest[:], digest)
}

// Stand is a readings file as it stood when it was opened: see [Open]. It is read as
// often as one likes.
type Stand struct {
	path   string
	file   *snapshot
	opened os.FileInfo
	blocks []standBlock // those that were looked at, from the first on
}

// standBlock is what is known of some bytes of a file.
type standBlock struct {
	digest [sha256.Size]byte
	lines  int
	err    error
}

// standBlockSize is how many bytes of a file have a digest of their own, so that all
// cores work at them.
const standBlockSize = 256 << 10

// OpenStand opens a readings file.
func OpenStand(path string) (*Stand, error) {
	f, err := openNow(path)
	if err != nil {
		return nil, err
	}
	info, err := f.file.Stat()
	if err != nil {
		f.Close()
		return nil, err
	}
	return &Stand{path: path, file: f, opened: info}, nil
}

// Close closes the file.
func (s *Stand) Close() error { return s.file.Close() }

// Size is how many bytes are read of the file.
func (s *Stand) Size() int64 { return s.file.Size() }

// Unchanged reports whether nobody has written to the file since it was opened, as far
// as the system tells.
func (s *Stand) Unchanged() bool {
	info, err := s.file.file.Stat()
	return err == nil && info.Size() == s.opened.Size() && info.ModTime().Equal(s.opened.ModTime())
}

// Readings are the rows of the file.
func (s *Stand) Readings() iter.Seq2[Reading, error] {
	return func(yield func(Reading, error) bool) { Readings(s.part(0, s.Size()), s.path)(yield) }
}

// After are the rows that follow a reach that the file has. An error does not tell the
// right line: [Stand.Readings] does.
func (s *Stand) After(r Reach) iter.Seq2[Reading, error] {
	return func(yield func(Reading, error) bool) {
		text := io.MultiReader(s.part(0, r.Header), s.part(r.Size, s.Size()))
		for x, err := range Readings(text, s.path) {
			x.Line += r.Lines - 1 // the header has one
			if !yield(x, err) {
				return
			}
		}
	}
}

// part is the bytes from one place to another.
func (s *Stand) part(from, to int64) io.Reader { return io.NewSectionReader(s.file, from, to-from) }

// Reach is that of the first bytes of the file. ok is false when these do not end with
// a line, or begin with a header that cannot be told at a glance, or cannot be read.
func (s *Stand) Reach(size int64) (r Reach, ok bool) {
	if size <= 0 || size > s.Size() {
		return Reach{}, false
	}
	end := make([]byte, 1)
	if _, err := s.file.ReadAt(end, size-1); err != nil || end[0] != '\n' {
		return Reach{}, false
	}
	r = Reach{Size: size, Header: s.header(size)}
	whole := size / standBlockSize
	if r.Header == 0 || !s.look(int(whole)) {
		return Reach{}, false
	}
	last := s.block(whole*standBlockSize, size, make([]byte, standBlockSize))
	h := sha256.New()
	for _, b := range append(s.blocks[:whole:whole], last) {
		h.Write(b.digest[:])
		r.Lines += b.lines
	}
	h.Write(binary.LittleEndian.AppendUint64(nil, uint64(size)))
	h.Sum(r.Digest[:0])
	return r, last.err == nil
}

// header is how many bytes of the first ones are the header: a line with something in it
// and without quotes, round which it might not end; 0 when it is none.
func (s *Stand) header(size int64) int64 {
	text := make([]byte, min(size, standBlockSize))
	if _, err := s.file.ReadAt(text, 0); err != nil {
		return 0
	}
	line, _, found := bytes.Cut(text, []byte("\n"))
	if !found || len(bytes.TrimSpace(line)) == 0 || bytes.Contains(line, []byte(`"`)) {
		return 0
	}
	return int64(len(line) + 1)
}

// look looks at so many blocks from the first on, on all cores; false when one cannot be
// read.
func (s *Stand) look(blocks int) bool {
	known := len(s.blocks)
	s.blocks = append(s.blocks, make([]standBlock, max(0, blocks-known))...)
	next := atomic.Int64{}
	next.Store(int64(known))
	var all sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), blocks-known) { // none, where all are known
		all.Go(func() {
			buf := make([]byte, standBlockSize)
			for i := next.Add(1) - 1; i < int64(blocks); i = next.Add(1) - 1 {
				s.blocks[i] = s.block(i*standBlockSize, (i+1)*standBlockSize, buf)
			}
		})
	}
	all.Wait()
	for _, b := range s.blocks[:blocks] {
		if b.err != nil {
			return false
		}
	}
	return true
}

// block looks at the bytes from one place to another, in the memory of buf.
func (s *Stand) block(from, to int64, buf []byte) standBlock {
	text := buf[:to-from]
	_, err := s.file.ReadAt(text, from)
	if len(text) == 0 {
		err = nil
	}
	return standBlock{sha256.Sum256(text), bytes.Count(text, []byte("\n")), err}
}
