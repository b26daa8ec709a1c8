package record

import (
	"bytes"
	"io"
	"os"
	"path/filepath"

	"evenpole/capture/record/disk"
)

// Open opens a file of a shop's record for reading, as it stands now. It waits
// for no writer: while one is at work, or was cut short, what is read ends with
// the last whole line.
func Open(path string) (io.ReadCloser, error) { return openNow(path) }

// snapshot is a file as it stood when it was opened.
type snapshot struct {
	*io.SectionReader
	file *os.File
	torn int64 // bytes at the end that were no whole line, and are not read
}

func (s *snapshot) Close() error { return s.file.Close() }

func openNow(path string) (*snapshot, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, err
	}
	size := info.Size()
	s := &snapshot{file: f}
	if disk.BeingWritten(filepath.Dir(path)) {
		if s.torn, err = unended(f, size); err != nil {
			f.Close()
			return nil, err
		}
	}
	s.SectionReader = io.NewSectionReader(f, 0, size-s.torn)
	return s, nil
}

// unended returns how many bytes follow the last end of a line.
func unended(f io.ReaderAt, size int64) (int64, error) {
	const chunk = 4096
	for end := size; end > 0; end -= chunk {
		start := max(end-chunk, 0)
		b := make([]byte, end-start)
		if _, err := f.ReadAt(b, start); err != nil && err != io.EOF {
			return 0, err
		}
		if i := bytes.LastIndexByte(b, '\n'); i >= 0 {
			return size - (start + int64(i) + 1), nil
		}
	}
	return size, nil
}
