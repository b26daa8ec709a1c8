package profiles

import (
	"fmt"
	"io"

	"evenpole/capture/record/disk"
)

// The most that a file may have, far more than a large shop writes: a file
// that has more is something else, or was made to stop the program.
const (
	maxText  = 1 << 20 // bytes
	maxLines = 10000
	maxLine  = 2048 // bytes, its end included
)

// readText reads a file whole, up to what parse refuses.
func readText(path string) ([]byte, error) {
	f, err := disk.OpenInput(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, maxText+1))
}

// tooLarge returns where a document has more than it may, and of what it may have how
// much; "" where it has not.
func (d *document) tooLarge() (at place, what string) {
	if len(d.lines) > maxLines {
		return place{maxLines + 1, 1}, fmt.Sprintf("%d lines", maxLines)
	}
	for i, start := range d.lines {
		end := len(d.text)
		if i+1 < len(d.lines) {
			end = d.lines[i+1]
		}
		if end-start > maxLine {
			return place{i + 1, 1}, fmt.Sprintf("%d bytes in a line", maxLine)
		}
	}
	if len(d.text) > maxText {
		return place{len(d.lines), 1}, fmt.Sprintf("%d bytes", maxText)
	}
	return place{}, ""
}
