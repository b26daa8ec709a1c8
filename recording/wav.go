package recording

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"

	"evenpole/profiles"
)

// A WAV file is chunks (IBM, Microsoft: Multimedia Programming Interface and Data
// Specifications 1.0, 1991; for more than 4 GB EBU Tech 3306 and ITU-R BS.2088). The
// libraries for it that are kept up want a file in which they can seek, or read no
// floating point, or do not say where a file is damaged; recorders write into pipes, and
// the format is small. So it is read here.

// Codes of formats.
const (
	wavPCM        = 1
	wavFloat      = 3
	wavExtensible = 0xFFFE
)

// extensibleTail is the end of the GUID of a subformat, of which the first two bytes are
// a code of a format.
const extensibleTail = "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"

// endless is the size of a chunk whose writer did not know it.
const endless = math.MaxInt64

type wav struct {
	in      *input
	format  Format
	frame   int   // bytes of one sample of all channels
	left    int64 // bytes of the data chunk that are left
	guessed bool  // the head may say more than there is: it was written before the sound
	buf     []byte
	levels  levels
	notices []string
}

func openWAV(in *input, channel int) (Sound, error) {
	var head [12]byte
	if err := in.full(head[:], "a RIFF head"); err != nil {
		return nil, err
	}
	if string(head[8:]) != "WAVE" {
		return nil, in.failAt(8, "expected WAVE, got %q", head[8:])
	}
	w := &wav{in: in, format: Format{Kind: "WAV", Channel: channel}}
	large := int64(-1) // bytes of the data chunk by ds64
	for {
		at := in.at()
		var chunk [8]byte
		if err := in.full(chunk[:], "a chunk's head"); err != nil {
			return nil, err
		}
		id, size := string(chunk[:4]), int64(binary.LittleEndian.Uint32(chunk[4:]))
		var err error
		switch id {
		case "data":
			if w.frame == 0 {
				return nil, in.failAt(at, "expected the format (a chunk \"fmt \") before the data, got none")
			}
			w.left, w.guessed = dataSize(size, large)
			w.buf = make([]byte, w.frame*max(1, 1<<14/w.frame))
			w.levels = make(levels, w.format.Channels)
			return w, nil
		case "fmt ":
			err = w.readFormat(at, size)
		case "ds64":
			large, err = in.dataSize64(size)
		default:
			err = in.skip(size+size%2, id)
		}
		if err != nil {
			return nil, err
		}
	}
}

// dataSize is how long a data chunk is that says so of itself. A recorder that writes
// into a pipe does not know, and says nothing, or as much as there is room for.
func dataSize(size, large int64) (left int64, guessed bool) {
	const most, half = 1<<32 - 1, 1<<31 - 1
	switch {
	case size == most && large > 0:
		return large, false
	case size == 0 || size == most:
		return endless, true
	}
	return size, size > half-1<<16
}

// skip passes over a chunk that does not matter.
func (in *input) skip(size int64, id string) error {
	n, err := io.CopyN(io.Discard, in.b, size)
	if err == io.EOF {
		return in.fail("expected %d bytes of chunk %q, got %d and the end of the file", size, id, n)
	}
	return err
}

// dataSize64 reads the size of the data from a chunk for large files.
func (in *input) dataSize64(size int64) (int64, error) {
	var b [16]byte
	if size < int64(len(b)) {
		return 0, in.fail("expected at least %d bytes of chunk \"ds64\", got %d", len(b), size)
	}
	if err := in.full(b[:], `chunk "ds64"`); err != nil {
		return 0, err
	}
	large := binary.LittleEndian.Uint64(b[8:])
	if large > math.MaxInt64 {
		return 0, in.fail("expected a size of data below 2^63, got %d", large)
	}
	return int64(large), in.skip(size-int64(len(b))+size%2, "ds64")
}

// readFormat reads the chunk that begins at a byte of the file.
func (w *wav) readFormat(at, size int64) error {
	const least, extended = 16, 40
	if size < least {
		return w.in.failAt(at, "expected at least %d bytes of format, got %d", least, size)
	}
	var b [extended]byte
	use := min(size, extended)
	if err := w.in.full(b[:use], "the format"); err != nil {
		return err
	}
	code, container := int(binary.LittleEndian.Uint16(b[:])), int(binary.LittleEndian.Uint16(b[14:]))
	if code == wavExtensible {
		if size < extended {
			return w.in.failAt(at, "expected %d bytes of an extensible format, got %d", extended, size)
		}
		if string(b[26:]) != extensibleTail {
			return w.in.failAt(at+8+24, "expected the subformat of PCM or floating point, got % x", b[24:])
		}
		code = int(binary.LittleEndian.Uint16(b[24:]))
	}
	f := &w.format
	f.Channels = int(binary.LittleEndian.Uint16(b[2:]))
	f.Rate = int(min(binary.LittleEndian.Uint32(b[4:]), math.MaxInt32))
	w.frame, f.Bits, f.Float = int(binary.LittleEndian.Uint16(b[12:])), container, code == wavFloat
	if err := w.checkDepth(at, code); err != nil {
		return err
	}
	if err := w.in.checkFormat(*f); err != nil {
		return err
	}
	if want := f.Channels * ((f.Bits + 7) / 8); w.frame != want {
		return w.in.failAt(at+8+12, "expected %d bytes a sample of %d channels of %d bits, got %d", want, f.Channels, f.Bits, w.frame)
	}
	return w.in.skip(size-use+size%2, "fmt ")
}

// checkDepth refuses the sample formats that are not read.
func (w *wav) checkDepth(at int64, code int) error {
	bits := w.format.Bits
	switch {
	case code == wavPCM && bits >= 1 && bits <= 32:
		return nil
	case code == wavFloat && (bits == 32 || bits == 64):
		return nil
	case code == wavPCM || code == wavFloat:
		return w.in.failAt(at+8+14, "expected 8 to 32 bits, or 32 or 64 bits floating point, got %d", bits)
	}
	return w.in.failAt(at+8, "expected PCM (format 1) or floating point (3), got format %d: compressed sound has lost what is measured here", code)
}

func (w *wav) Format() Format     { return w.format }
func (w *wav) Loudest() []float64 { return w.levels }
func (w *wav) Notices() []string  { return w.notices }

// Read waits for some samples, and for no more than are there.
func (w *wav) Read(dst []float64) (int, error) {
	if len(dst) == 0 {
		return 0, nil
	}
	want := min(int64(len(dst)*w.frame), int64(len(w.buf)), w.left)
	want -= want % int64(w.frame)
	if want <= 0 {
		return 0, io.EOF
	}
	b := w.buf[:want]
	at := w.in.at()
	n, err := io.ReadAtLeast(w.in.b, b, w.frame)
	for n%w.frame != 0 && err == nil {
		var more int
		more, err = io.ReadFull(w.in.b, b[n:n+w.frame-n%w.frame])
		n += more
	}
	if w.left != endless {
		w.left -= int64(n)
	}
	samples, bad := w.decode(dst, b[:n-n%w.frame], at)
	switch {
	case bad != nil:
		return samples, bad
	case err == io.EOF || err == io.ErrUnexpectedEOF:
		w.ended(n % w.frame)
		return samples, io.EOF
	}
	return samples, err
}

// ended notes that the file ended before its data did, with so many bytes of a sample.
func (w *wav) ended(rest int) {
	if missing := w.left + int64(rest); !w.guessed && missing > 0 {
		w.notices = append(w.notices, fmt.Sprintf("%s: byte %d: the recording ends %s before it says; what is there is read", w.in.name, w.in.at(), profiles.Count(int(missing), "byte")))
	}
	w.left = 0
}

// decode decodes whole samples of all channels, which begin at a byte of the file.
func (w *wav) decode(dst []float64, b []byte, at int64) (n int, err error) {
	width := w.frame / w.format.Channels
	for ; len(b) >= w.frame; b = b[w.frame:] {
		for ch := range w.format.Channels {
			x := w.sample(b[ch*width : (ch+1)*width])
			if math.IsNaN(x) || math.Abs(x) > mostSample {
				return n, w.in.failAt(at+int64(n*w.frame+ch*width), "expected a sample of at most %g times full scale, got %g", float64(mostSample), x)
			}
			w.levels.hear(ch, x)
			if ch == w.format.Channel-1 {
				dst[n] = x
			}
		}
		n++
	}
	return n, nil
}

// mostSample is the largest sample that is no slip: files of floating point that were
// scaled to 16 or 24 bits are read, too.
const mostSample = 1 << 24

func (w *wav) sample(b []byte) float64 {
	switch {
	case w.format.Float && len(b) == 8:
		return math.Float64frombits(binary.LittleEndian.Uint64(b))
	case w.format.Float:
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(b)))
	case len(b) == 1:
		return (float64(b[0]) - 128) / 128
	}
	var v uint32 // left-justified, as samples of fewer bits than their bytes are
	for i, x := range b {
		v |= uint32(x) << (8 * (4 - len(b) + i))
	}
	return float64(int32(v)) / (1 << 31)
}
