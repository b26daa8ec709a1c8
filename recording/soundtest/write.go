package soundtest

import (
	"bytes"
	"encoding/binary"
	"math"
)

// WAV is sound as a WAV file of one depth; channels have the same sound. 32 bits are of
// integers, -32 and -64 of floating point.
func WAV(x []float64, rate, depth, channels int) []byte {
	bits, code := depth, uint16(1)
	if depth < 0 {
		bits, code = -depth, 3
	}
	width := bits / 8
	var b bytes.Buffer
	b.WriteString("RIFF")
	size := len(x) * width * channels
	put(&b, uint32(36+size))
	b.WriteString("WAVEfmt ")
	put(&b, uint32(16))
	put(&b, code)
	put(&b, uint16(channels))
	put(&b, uint32(rate))
	put(&b, uint32(rate*width*channels))
	put(&b, uint16(width*channels))
	put(&b, uint16(bits))
	b.WriteString("data")
	put(&b, uint32(size))
	for _, v := range x {
		for range channels {
			b.Write(sample(v, depth))
		}
	}
	return b.Bytes()
}

func put(b *bytes.Buffer, v any) { binary.Write(b, binary.LittleEndian, v) } // a buffer takes all

func sample(v float64, depth int) []byte {
	switch depth {
	case -64:
		return binary.LittleEndian.AppendUint64(nil, math.Float64bits(v))
	case -32:
		return binary.LittleEndian.AppendUint32(nil, math.Float32bits(float32(v)))
	}
	top := math.Pow(2, float64(depth-1))
	n := int64(math.Round(max(-top, min(top-1, v*top))))
	if depth == 8 {
		n += 128
	}
	return binary.LittleEndian.AppendUint64(nil, uint64(n))[:depth/8]
}
