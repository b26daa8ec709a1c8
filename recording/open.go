package recording

import (
	"bufio"
	"io"
)

// Open reads the head of a WAV or FLAC recording; name stands for the file in messages.
// channel is the one to read, from 1. Nothing is read twice, so that r may be a pipe.
func Open(name string, r io.Reader, channel int) (Sound, error) {
	c := &counter{r: r}
	b := bufio.NewReaderSize(c, 1<<16)
	in := &input{name: name, b: b, under: c}
	head, err := b.Peek(4)
	if err != nil && len(head) < 4 {
		if err != io.EOF {
			return nil, err
		}
		return nil, in.failAt(int64(len(head)), "expected a WAV or FLAC recording, got the end of the file")
	}
	var s Sound
	switch string(head) {
	case "RIFF", "RF64", "BW64":
		s, err = openWAV(in, channel)
	case "fLaC":
		s, err = openFLAC(in, channel)
	default:
		return nil, in.failAt(0, "expected a WAV or FLAC recording, got %q", head)
	}
	if err != nil {
		return nil, err
	}
	return s, nil
}
