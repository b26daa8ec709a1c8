package recording

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"evenpole/jig"
	"evenpole/recording/soundtest"

	libflac "github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"
)

var standard = []float64{329.63, 246.94, 196, 146.83, 110, 82.41}

// pluck is an ordinary pluck of a string.
func pluck(at float64, str int, level float64) soundtest.Pluck {
	return soundtest.Pluck{At: at, String: str, Freq: standard[str-1], Level: level, Place: 0.17, Pickup: 0.13, Stiff: 3e-5, Decay: 0.8, Bright: 0.2, Stop: 0.9, Scrape: 0.05}
}

func scene(seconds float64, plucks ...soundtest.Pluck) *soundtest.Scene {
	return &soundtest.Scene{Rate: 44100, Seconds: seconds, Plucks: plucks, Hum: 2e-4, Noise: 2e-5, Offset: 0.01}
}

func soundOf(s *soundtest.Scene) []float64 { return s.Sound(rand.New(rand.NewPCG(1, 1))) }

func hear(t testing.TB, file []byte, opt Options) *Heard {
	t.Helper()
	h, err := Hear(context.Background(), "x.wav", bytes.NewReader(file), opt, nil)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func hearScene(t testing.TB, s *soundtest.Scene) []Pluck {
	t.Helper()
	return hear(t, soundtest.WAV(soundOf(s), s.Rate, 24, 1), Options{Notes: standard}).Plucks
}

// Each string is told, its level is that of the string alone over the window, and its
// release and pitch are where they were.
func TestPlucks(t *testing.T) {
	s := scene(10)
	for i := range standard {
		s.Plucks = append(s.Plucks, pluck(0.8+1.4*float64(i), i+1, 0.03+0.02*float64(i)))
	}
	alone := *s
	alone.Hum, alone.Noise, alone.Offset = 0, 0, 0
	clean := soundOf(&alone)
	heard := hearScene(t, s)
	if len(heard) != len(s.Plucks) {
		t.Fatalf("heard %d plucks of %d: %v", len(heard), len(s.Plucks), heard)
	}
	for i, p := range heard {
		want := s.Plucks[i]
		if p.String != want.String || p.Flags != 0 || math.Abs(p.Release.Seconds()-want.At) > 0.004 || math.Abs(cents(p.Freq, want.Freq)) > 5 || p.Window != WindowLength {
			t.Errorf("string %d at %.3f s: got %+v", want.String, want.At, p)
		}
		from := int(math.Round((p.Release + WindowDelay).Seconds() * 44100))
		rms, _ := rmsOf(clean[from : from+22050])
		if off := 20 * math.Log10(math.Sqrt(p.RMS*p.RMS-p.Quiet*p.Quiet)/rms); math.Abs(off) > 0.01 {
			t.Errorf("string %d: level is off by %.4f dB", want.String, off)
		}
	}
}

func TestFlags(t *testing.T) {
	one := func(change func(*soundtest.Scene, *soundtest.Pluck)) *soundtest.Scene {
		s := scene(3, pluck(1, 3, 0.08))
		change(s, &s.Plucks[0])
		return s
	}
	for _, c := range []struct {
		name  string
		scene *soundtest.Scene
		flags jig.Flags
		note  string
	}{
		{"nothing", one(func(*soundtest.Scene, *soundtest.Pluck) {}), 0, ""},
		{"buzz", one(func(_ *soundtest.Scene, p *soundtest.Pluck) { p.Buzz = 0.03 }), 0, ""},
		{"a pitch that settles", one(func(_ *soundtest.Scene, p *soundtest.Pluck) { p.Drift = 30 }), 0, ""},
		{"struck twice", one(func(s *soundtest.Scene, p *soundtest.Pluck) {
			p.Stop = 0.12
			s.Plucks = append(s.Plucks, pluck(1.18, 3, 0.08))
		}), jig.DoubleStrike, ""},
		{"struck again softly", one(func(s *soundtest.Scene, p *soundtest.Pluck) {
			p.Stop = 0.144
			s.Plucks = append(s.Plucks, pluck(1.168, 3, 0.05))
		}), jig.DoubleStrike, ""},
		{"stopped", one(func(_ *soundtest.Scene, p *soundtest.Pluck) { p.Stop = 0.3 }), jig.ShortWindow, ""},
		{"the end of the recording", one(func(s *soundtest.Scene, _ *soundtest.Pluck) { s.Seconds = 1.3 }), jig.ShortWindow, ""},
		{"the next pluck", one(func(s *soundtest.Scene, p *soundtest.Pluck) {
			p.Stop = 0.36
			s.Plucks = append(s.Plucks, pluck(1.4, 3, 0.08))
		}), jig.ShortWindow, ""},
		{"cut off before the file", one(func(s *soundtest.Scene, p *soundtest.Pluck) { s.Clip = 0.12 }), jig.Clipped, ""},
		{"cut off by the file", one(func(s *soundtest.Scene, p *soundtest.Pluck) { p.Level = 0.9 }), jig.Clipped, ""},
		{"two strings", one(func(s *soundtest.Scene, p *soundtest.Pluck) { s.Plucks = append(s.Plucks, pluck(1.02, 5, 0.05)) }), jig.Fault, "sounds with it"},
		{"no string's pitch", one(func(s *soundtest.Scene, p *soundtest.Pluck) { p.Freq *= 1.08 }), jig.Fault, "no string's"},
		{"hum", one(func(s *soundtest.Scene, p *soundtest.Pluck) { p.Level, s.Hum = 0.02, 0.018 }), jig.Fault, "hum of the mains (50 Hz)"},
	} {
		heard := hearScene(t, c.scene)
		if len(heard) == 0 {
			t.Errorf("%s: nothing heard", c.name)
			continue
		}
		if p := heard[0]; p.Flags != c.flags || !strings.Contains(strings.Join(p.Notes, "; "), c.note) {
			t.Errorf("%s: got flags %X %q, want %X %q", c.name, p.Flags, p.Notes, c.flags, c.note)
		}
	}
}

// Nothing is made up in silence, hum that is switched on, noise or knocks.
func TestSilence(t *testing.T) {
	s := scene(8)
	s.Hum, s.Noise, s.Knocks, s.Knock = 0.02, 0.003, []float64{1, 2.5, 2.7, 5}, 0.3
	if heard := hearScene(t, s); len(heard) > 0 {
		t.Errorf("heard %v", heard)
	}
	x := soundOf(s)
	clear(x[:3*44100])
	if heard := hear(t, soundtest.WAV(x, 44100, 16, 1), Options{Notes: standard}).Plucks; len(heard) > 0 {
		t.Errorf("heard %v where hum was switched on", heard)
	}
}

// Strings of one note cannot be told apart, and it is said; one that is recorded alone need not be.
func TestSameNote(t *testing.T) {
	file := soundtest.WAV(soundOf(scene(3, pluck(1, 1, 0.05))), 44100, 24, 1)
	notes := []float64{329.63, 329.63, 246.94, 246.94}
	p := hear(t, file, Options{Notes: notes}).Plucks
	if len(p) != 1 || p[0].Flags != jig.Fault || !strings.Contains(p[0].Notes[0], "strings 1 and 2 sound at the same note") {
		t.Errorf("got %+v", p)
	}
	if p = hear(t, file, Options{Notes: notes, Only: 2}).Plucks; len(p) != 1 || p[0].Flags != 0 || p[0].String != 2 {
		t.Errorf("alone: got %+v", p)
	}
}

// All depths, and FLAC, say the same.
func TestFormats(t *testing.T) {
	x := soundOf(scene(2, pluck(1, 2, 0.1)))
	want := hear(t, soundtest.WAV(x, 44100, 24, 1), Options{Notes: standard}).Plucks[0]
	files := map[string][]byte{"FLAC": flacOf(t, x, 44100)}
	for depth, name := range map[int]string{8: "8", 16: "16", 32: "32", -32: "float", -64: "double"} {
		files[name] = soundtest.WAV(x, 44100, depth, 1)
	}
	files["two channels"] = soundtest.WAV(x, 44100, 24, 2)
	files["extensible"] = extensible(files["float"])
	files["of unknown length"] = withSize(files["16"], 0xFFFFFFFF)
	files["of no length"] = withSize(files["16"], 0)
	files["RF64"] = rf64(files["16"])
	for name, file := range files {
		h := hear(t, file, Options{Notes: standard})
		if len(h.Plucks) != 1 || len(h.Notices) > 0 {
			t.Errorf("%s: got %v, %v", name, h.Plucks, h.Notices)
			continue
		}
		tolerance := 0.001
		if name == "8" {
			tolerance = 0.05
		}
		if p := h.Plucks[0]; p.String != 2 || math.Abs(math.Log(p.RMS/want.RMS)) > tolerance {
			t.Errorf("%s: got %+v, want %+v", name, p, want)
		}
	}
}

// withSize is a WAV file whose data says another size.
func withSize(file []byte, size uint32) []byte {
	out := bytes.Clone(file)
	binary.LittleEndian.PutUint32(out[40:], size)
	return out
}

// extensible is a WAV file of floating point with the longer form of the format.
func extensible(file []byte) []byte {
	out := bytes.Clone(file[:36])
	binary.LittleEndian.PutUint32(out[16:], 40)
	binary.LittleEndian.PutUint16(out[20:], wavExtensible)
	out = append(out, 22, 0, 32, 0, 4, 0, 0, 0, wavFloat, 0)
	return append(append(out, extensibleTail...), file[36:]...)
}

// rf64 is a WAV file in the form for large ones.
func rf64(file []byte) []byte {
	out := append([]byte("RF64\xff\xff\xff\xffWAVEds64\x1c\x00\x00\x00"), make([]byte, 28)...)
	binary.LittleEndian.PutUint64(out[28:], uint64(len(file)-44))
	return append(out, withSize(file, 0xFFFFFFFF)[12:]...)
}

func flacOf(t testing.TB, x []float64, rate int) []byte {
	t.Helper()
	var b bytes.Buffer
	enc, err := libflac.NewEncoder(&b, &meta.StreamInfo{BlockSizeMin: 4096, BlockSizeMax: 4096, SampleRate: uint32(rate), NChannels: 1, BitsPerSample: 16, NSamples: uint64(len(x))})
	if err != nil {
		t.Fatal(err)
	}
	for num := 0; len(x) > 0; num++ {
		n := min(4096, len(x))
		samples := make([]int32, n)
		for i := range samples {
			samples[i] = int32(math.Round(x[i] * 32768))
		}
		x = x[n:]
		f := &frame.Frame{Header: frame.Header{HasFixedBlockSize: true, BlockSize: uint16(n), SampleRate: uint32(rate), Channels: frame.ChannelsMono, BitsPerSample: 16, Num: uint64(num)},
			Subframes: []*frame.Subframe{{SubHeader: frame.SubHeader{Pred: frame.PredVerbatim}, Samples: samples, NSamples: n}}}
		if err := enc.WriteFrame(f); err != nil {
			t.Fatal(err)
		}
	}
	if err := enc.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// What is wrong with a file is said with the byte at which it was seen.
func TestDamaged(t *testing.T) {
	good := soundtest.WAV(make([]float64, 5000), 44100, 16, 1)
	bad := soundtest.WAV(make([]float64, 5000), 44100, -32, 1)
	binary.LittleEndian.PutUint32(bad[44+400:], math.Float32bits(float32(math.NaN())))
	change := func(at int, b ...byte) []byte {
		out := bytes.Clone(good)
		copy(out[at:], b)
		return out
	}
	flacFile := flacOf(t, soundOf(scene(0.2, pluck(0.01, 2, 0.1))), 44100)
	for want, file := range map[string][]byte{
		"x.wav: byte 0: expected a WAV or FLAC recording, got the end of the file":                   nil,
		"x.wav: byte 0: expected a WAV or FLAC recording, got \"ID3\\x04\"":                          []byte("ID3\x04abcdefgh"),
		"x.wav: byte 8: expected WAVE, got \"AVI \"":                                                 change(8, []byte("AVI ")...),
		"x.wav: byte 20: expected PCM (format 1) or floating point (3), got format 85":               change(20, 85),
		"x.wav: byte 34: expected 8 to 32 bits":                                                      change(34, 48),
		"x.wav: byte 32: expected 2 bytes a sample of 1 channels of 16 bits, got 7":                  change(32, 7),
		"x.wav: byte 36: expected a rate from 8000 to 1000000 Hz, got 100":                           change(24, 100, 0, 0, 0),
		"x.wav: byte 12: expected the format (a chunk \"fmt \") before the data, got none":           append([]byte("RIFF\x00\x00\x00\x00WAVE"), "data\x00\x00\x00\x00"...),
		"x.wav: byte 24: expected 16 bytes of the format, got 4 and the end of the file":             good[:24],
		"x.wav: byte 10044: expected 8 bytes of a chunk's head, got 0 and the end of the file":       append(bytes.Clone(good[:36]), append([]byte("junk\x10\x27\x00\x00"), good[44:]...)...),
		"x.wav: byte 444: expected a sample of at most 1.6777216e+07 times full scale, got NaN":      bad,
		"a damaged FLAC stream: frame.Frame.Parse: CRC-16 checksum mismatch":                         append(bytes.Clone(flacFile[:9000]), flip(flacFile[9000:])...),
		"expected more of a FLAC stream, got the end of the file":                                    flacFile[:9000],
		"x.wav: byte 8: expected more of a FLAC stream, got the end of the file":                     flacFile[:8],
		"x.wav: byte 21: a damaged FLAC stream: meta.Block.parseStreamInfo: invalid sample rate (0)": zeroRate(flacFile),
	} {
		_, err := Hear(context.Background(), "x.wav", bytes.NewReader(file), Options{Notes: standard}, nil)
		var fe *FormatError
		if !errors.As(err, &fe) || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %q", err, want)
		}
	}
	if h := hear(t, good[:5000], Options{}); len(h.Notices) != 1 || !strings.Contains(h.Notices[0], "byte 5000: the recording ends 5044 bytes before it says") {
		t.Errorf("a file cut short: got %q", h.Notices)
	}
	var ce *ChannelError
	if _, err := Hear(context.Background(), "x.wav", bytes.NewReader(good), Options{Channel: 2}, nil); !errors.As(err, &ce) {
		t.Errorf("channel 2 of 1: got %v", err)
	}
}

func flip(b []byte) []byte {
	out := bytes.Clone(b)
	out[0] ^= 0x55
	return out
}

func zeroRate(b []byte) []byte {
	out := bytes.Clone(b)
	out[18], out[19], out[20] = 0, 0, out[20]&0x0F
	return out
}

// The digest is of all bytes, also of those that follow the sound; the end of the context
// ends a recording that goes on for ever.
func TestHear(t *testing.T) {
	x := soundtest.WAV(soundOf(scene(2, pluck(1, 2, 0.1))), 44100, 16, 1)
	a, b := hear(t, x, Options{Notes: standard}), hear(t, append(bytes.Clone(x), "LIST\x00\x00\x00\x00"...), Options{Notes: standard})
	if a.Boot() == b.Boot() || a.Boot() != hear(t, x, Options{}).Boot() {
		t.Error("the digest is not that of all bytes")
	}
	ctx, stop := context.WithCancel(context.Background())
	r, w := io.Pipe()
	go w.Write(withSize(x, 0xFFFFFFFF))
	h, err := Hear(ctx, "-", r, Options{Notes: standard}, func(Pluck) { stop() })
	if err != nil || len(h.Plucks) != 1 {
		t.Errorf("got %v, %v", h, err)
	}
}

// A loud other channel is told of.
func TestOtherChannel(t *testing.T) {
	x := soundOf(scene(2, pluck(1, 2, 0.1)))
	both := make([]float64, 2*len(x)) // as one channel of twice the rate, so that samples alternate
	for i, v := range x {
		both[2*i], both[2*i+1] = v/100, v
	}
	file := soundtest.WAV(both, 44100, 24, 1)
	binary.LittleEndian.PutUint16(file[22:], 2)
	binary.LittleEndian.PutUint16(file[32:], 6)
	if h := hear(t, file, Options{Notes: standard}); len(h.Notices) != 1 || !strings.Contains(h.Notices[0], "channel 2 is louder than channel 1") {
		t.Errorf("got %q", h.Notices)
	}
	if h := hear(t, file, Options{Notes: standard, Channel: 2}); len(h.Plucks) != 1 || len(h.Notices) > 0 {
		t.Errorf("channel 2: got %v, %q", h.Plucks, h.Notices)
	}
}

// However long a recording is, what is kept of it is not.
func TestBoundedMemory(t *testing.T) {
	l := Listen(Format{Rate: 8000, Bits: 16, Channels: 1, Channel: 1}, Options{Notes: standard})
	minute := make([]float64, 60*8000)
	for range 5 {
		l.Hear(minute)
	}
	if cap(l.sound) > 20*8000 || len(l.calm) > 2000 || len(l.envelope.Low) > mostStretches {
		t.Errorf("kept %d samples, %d blocks, %d stretches", cap(l.sound), len(l.calm), len(l.envelope.Low))
	}
}

func FuzzHear(f *testing.F) {
	x := soundOf(scene(0.2, pluck(0.05, 2, 0.1)))[:2000]
	f.Add(soundtest.WAV(x, 8000, 16, 1))
	f.Add(soundtest.WAV(x[:300], 8000, -32, 2))
	f.Add(rf64(soundtest.WAV(x[:300], 8000, 8, 1)))
	f.Add(flacOf(f, x[:500], 8000))
	f.Fuzz(func(t *testing.T, file []byte) {
		h, err := Hear(context.Background(), "x", bytes.NewReader(file), Options{Notes: standard}, nil)
		var fe *FormatError
		if err != nil && !errors.As(err, &fe) {
			t.Errorf("not a *FormatError: %v", err)
		}
		if err == nil && h.Length.Seconds()*float64(h.Format.Rate) > 8*65536*float64(len(file)+1) {
			t.Errorf("more sound than bytes")
		}
	})
}
