package shop

import (
	"bytes"
	"crypto/sha256"
	"os"

	"evenpole/capture/record/disk"
)

// mostKept is how many bytes are kept: more would take memory that the record's size does
// not explain, and reading takes little of the time to fit so many cells.
const mostKept = 64 << 20

// keptFile is what is to stand in a file that may be deleted.
type keptFile struct {
	path string
	text []byte // packed; nil leaves the file as it is
}

// write writes the file. That it cannot costs time alone.
func (k *keptFile) write() {
	if k.text != nil {
		disk.WriteSpare(k.path, text(k.text))
	}
}

// mayKeep reports whether so much may be kept of readings of a size: what is longer than
// they are saves no time.
func mayKeep(bytes, readings int64) bool { return bytes <= min(readings, mostKept) }

// readKept reads such a file, and returns what is in it without its digest.
func readKept(path string, readings int64) (text []byte, ok bool) {
	info, err := os.Stat(path)
	if err != nil || !mayKeep(info.Size(), readings) {
		return nil, false
	}
	text, err = disk.ReadFile(path)
	if err != nil || len(text) < sha256.Size {
		return nil, false
	}
	text, digest := text[:len(text)-sha256.Size], text[len(text)-sha256.Size:]
	sum := sha256.Sum256(text)
	return text, bytes.Equal(sum[:], digest)
}

// withDigest is a text with its digest behind it.
func withDigest(text []byte) []byte {
	digest := sha256.Sum256(text)
	return append(text, digest[:]...)
}
