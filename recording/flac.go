package recording

import (
	"crypto/md5"
	"encoding/binary"
	"fmt"
	"hash"
	"io"

	"evenpole/profiles"

	libflac "github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
)

type flac struct {
	in      *input
	stream  *libflac.Stream
	format  Format
	frame   *frame.Frame // what is being read
	next    int          // sample of it
	read    uint64       // samples of the stream so far
	levels  levels
	digest  hash.Hash
	notices []string
}

func openFLAC(in *input, channel int) (s Sound, err error) {
	defer in.recovered(&err)
	stream, err := libflac.New(in.b)
	if err != nil {
		return nil, in.flacError(err)
	}
	i := stream.Info
	f := &flac{in: in, stream: stream, digest: md5.New(),
		format: Format{Kind: "FLAC", Rate: int(i.SampleRate), Channels: int(i.NChannels), Bits: int(i.BitsPerSample), Channel: channel}}
	f.levels = make(levels, f.format.Channels)
	return f, in.checkFormat(f.format)
}

// flacError says what the library found wrong, and where the reading was.
func (in *input) flacError(err error) error {
	if err == io.EOF || err == io.ErrUnexpectedEOF {
		return in.fail("expected more of a FLAC stream, got the end of the file")
	}
	return in.fail("a damaged FLAC stream: %v", err)
}

// recovered makes an error of a panic of the library over a damaged stream.
func (in *input) recovered(err *error) {
	if p := recover(); p != nil {
		*err = in.fail("a damaged FLAC stream: %v", p)
	}
}

func (f *flac) Format() Format     { return f.format }
func (f *flac) Loudest() []float64 { return f.levels }
func (f *flac) Notices() []string  { return f.notices }

func (f *flac) Read(dst []float64) (n int, err error) {
	defer f.in.recovered(&err)
	for f.frame == nil || f.next == f.length() {
		if f.frame, err = f.stream.ParseNext(); err == io.EOF {
			return 0, f.ended()
		} else if err != nil {
			return 0, f.in.flacError(err)
		}
		f.next = 0
		if err := f.check(); err != nil {
			return 0, err
		}
	}
	scale := 1 / float64(int64(1)<<(f.format.Bits-1))
	for ; n < len(dst) && f.next < f.length(); n++ {
		for ch, sub := range f.frame.Subframes {
			x := float64(sub.Samples[f.next]) * scale
			f.levels.hear(ch, x)
			if ch == f.format.Channel-1 {
				dst[n] = x
			}
		}
		f.next++
	}
	f.read += uint64(n)
	return n, nil
}

func (f *flac) length() int { return len(f.frame.Subframes[0].Samples) }

// check refuses a frame that is not of the stream's format, and adds it to the digest.
func (f *flac) check() error {
	h := &f.frame.Header
	if len(f.frame.Subframes) != f.format.Channels || h.BitsPerSample != 0 && int(h.BitsPerSample) != f.format.Bits {
		return f.in.fail("expected a frame of %d channels of %d bits, got %d of %d", f.format.Channels, f.format.Bits, len(f.frame.Subframes), h.BitsPerSample)
	}
	for _, sub := range f.frame.Subframes {
		if len(sub.Samples) != f.length() {
			return f.in.fail("expected as many samples of each channel, got %d and %d", f.length(), len(sub.Samples))
		}
	}
	var sample [4]byte
	width := (f.format.Bits + 7) / 8
	for i := range f.length() {
		for _, sub := range f.frame.Subframes {
			binary.LittleEndian.PutUint32(sample[:], uint32(sub.Samples[i]))
			f.digest.Write(sample[:width])
		}
	}
	return nil
}

// ended compares the stream with what its head says of it: the end of the file is
// no mistake of a stream that was cut between two frames.
func (f *flac) ended() error {
	i := f.stream.Info
	switch {
	case i.NSamples != 0 && f.read < i.NSamples:
		f.notices = append(f.notices, fmt.Sprintf("%s: byte %d: the recording ends %s before it says; what is there is read", f.in.name, f.in.at(), profiles.Count(int(i.NSamples-f.read), "sample")))
	case i.MD5sum != [md5.Size]byte{} && i.MD5sum != [md5.Size]byte(f.digest.Sum(nil)):
		return f.in.fail("the sound is not what its digest (MD5) says: the file is damaged")
	}
	return io.EOF
}
