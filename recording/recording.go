package recording

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"math"
	"time"

	"evenpole/jig"
)

// Heard is what was heard of a recording.
type Heard struct {
	Format   Format
	Plucks   []Pluck
	Noises   int           // onsets that are no plucks
	Length   time.Duration // of the sound
	Digest   [sha256.Size]byte
	Envelope *Envelope
	Notices  []string // for people: what there is to say of the file
}

// Hear reads a recording to its end; name stands for it in messages. each hears of every
// pluck as soon as it is measured, and may be nil. When ctx is done the recording is taken to end
// there: who plays into a pipe stops so. What is kept of the sound is bounded.
func Hear(ctx context.Context, name string, r io.Reader, opt Options, each func(Pluck)) (*Heard, error) {
	digest := sha256.New()
	r = io.TeeReader(&stoppable{ctx, r}, digest)
	s, err := Open(name, r, max(1, opt.Channel))
	if err != nil {
		return nil, err
	}
	l, h := Listen(s.Format(), opt), &Heard{Format: s.Format()}
	tell := func(plucks []Pluck) {
		for _, p := range plucks {
			h.Plucks = append(h.Plucks, p)
			if each != nil {
				each(p)
			}
		}
	}
	for buf := make([]float64, 4096); ; {
		n, err := s.Read(buf)
		tell(l.Hear(buf[:n]))
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
	}
	tell(l.End())
	if _, err := io.Copy(io.Discard, r); err != nil { // the chunks that follow the sound belong to the digest
		return nil, err
	}
	digest.Sum(h.Digest[:0])
	h.Noises, h.Length, h.Envelope, h.Notices = l.Noises(), l.Heard(), l.Envelope(), append(s.Notices(), loudestNotice(s)...)
	return h, nil
}

// Boot names the recording as a jig's power-up is named: the first eight hex digits of
// the file's SHA-256.
func (h *Heard) Boot() jig.Boot {
	d := h.Digest
	return jig.Boot(uint32(d[0])<<24 | uint32(d[1])<<16 | uint32(d[2])<<8 | uint32(d[3]))
}

// loudestNotice says that another channel is louder than the one that was read.
func loudestNotice(s Sound) []string {
	f, all := s.Format(), s.Loudest()
	own := all[f.Channel-1]
	for i, v := range all {
		if v > 2*own {
			return []string{fmt.Sprintf("channel %d is louder than channel %d, which was read, by %.0f dB", i+1, f.Channel, 20*math.Log10(v/max(own, 1e-6)))}
		}
	}
	return nil
}

// stoppable is a reader that ends when ctx is done, also while it waits.
type stoppable struct {
	ctx context.Context
	r   io.Reader
}

func (s *stoppable) Read(p []byte) (int, error) {
	if s.ctx.Err() != nil {
		return 0, io.EOF
	}
	if s.ctx.Done() == nil {
		return s.r.Read(p)
	}
	type result struct {
		b   []byte
		err error
	}
	done := make(chan result, 1)
	b := make([]byte, len(p)) // its own, as a read may end long after it was given up
	go func() {
		n, err := s.r.Read(b)
		done <- result{b[:n], err}
	}()
	select {
	case x := <-done:
		return copy(p, x.b), x.err
	case <-s.ctx.Done():
		return 0, io.EOF
	}
}
