package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"

	"evenpole/recording"
)

// instrument is one of General MIDI whose strings are plucked over a pickup or a box.
type instrument struct {
	name    string
	program byte
	bass    bool
}

var instruments = []instrument{
	{"nylon strings", 24, false}, {"steel strings", 25, false}, {"hollow body", 26, false}, {"solid body", 27, false},
	{"bass, fingers", 33, true}, {"bass, pick", 34, true}, {"bass, acoustic", 32, true},
}

// fontRows plays the strings of a sound font and prints a row for each instrument.
func fontRows(row func(string, *score), log io.Writer, o options) error {
	if !slices.ContainsFunc(instruments, func(in instrument) bool { return o.wanted("sampled " + in.name) }) {
		return nil
	}
	if _, err := os.Stat(o.font); err != nil {
		fmt.Printf("sampled strings: not played, as there is no %s\n", o.font)
		return nil
	}
	if _, err := exec.LookPath("fluidsynth"); err != nil {
		fmt.Println("sampled strings: not played, as fluidsynth is not installed")
		return nil
	}
	for _, in := range instruments {
		if !o.wanted("sampled " + in.name) {
			continue
		}
		s := &score{log: log}
		for _, t := range tunings {
			if t.hard || (t.hz()[0] < 150) != in.bass {
				continue
			}
			if err := play(t, in.program, o).playFor(s, in.name+", "+t.name); err != nil {
				return err
			}
		}
		row("sampled "+in.name, s)
	}
	return nil
}

// playing is what fluidsynth is to play.
type playing struct {
	midi  []byte
	notes []float64
	all   []played
	font  string
}

// play draws plucks of a tuning, three times each string.
func play(t tuning, program byte, o options) *playing {
	r := rand.New(rand.NewPCG(o.seed, uint64(program)<<8+uint64(len(t.notes))))
	p := &playing{notes: t.hz(), font: o.font}
	var track bytes.Buffer
	track.Write([]byte{0, 0xC0, program})
	now := 0.0 // s of the last event
	event := func(at float64, b ...byte) {
		ticks := uint32(math.Round(at*1000)) - uint32(math.Round(now*1000))
		now = at
		track.Write(variable(ticks))
		track.Write(b)
	}
	at := 0.5
	for range 3 {
		for i, hz := range p.notes {
			key := byte(math.Round(69 + 12*math.Log2(hz/440)))
			event(at, 0x90, key, byte(60+r.IntN(60)))
			p.all = append(p.all, played{at, i + 1, hz})
			gap := between(r, 0.9, 2)
			event(at+gap-0.12, 0x80, key, 64)
			event(at+gap+0.2, 0xB0, 120, 0) // a hand on all strings: the font's ring on for long
			at += gap + 0.4
		}
	}
	event(at+0.5, 0xFF, 0x2F, 0)
	b := &bytes.Buffer{}
	b.WriteString("MThd")
	for _, v := range []any{uint32(6), uint16(0), uint16(1), uint16(500)} { // at 120 a minute, a tick is a ms
		binary.Write(b, binary.BigEndian, v)
	}
	b.WriteString("MTrk")
	binary.Write(b, binary.BigEndian, uint32(track.Len()))
	b.Write(track.Bytes())
	p.midi = b.Bytes()
	return p
}

// variable is a number as MIDI files have it.
func variable(n uint32) []byte {
	out := []byte{byte(n & 0x7F)}
	for n >>= 7; n > 0; n >>= 7 {
		out = append([]byte{byte(n&0x7F) | 0x80}, out...)
	}
	return out
}

// playFor has it played, and hears it.
func (p *playing) playFor(s *score, name string) error {
	dir, err := os.MkdirTemp("", "plucks")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	midi, wav := filepath.Join(dir, "a.mid"), filepath.Join(dir, "a.wav")
	if err := os.WriteFile(midi, p.midi, 0o600); err != nil {
		return err
	}
	out, err := exec.Command("fluidsynth", "-ni", "-R", "0", "-C", "0", "-g", "0.6", "-r", "44100", "-F", wav, "-O", "s16", p.font, midi).CombinedOutput()
	if err != nil {
		return fmt.Errorf("fluidsynth: %w: %s", err, out)
	}
	file, err := os.ReadFile(wav)
	if err != nil {
		return err
	}
	whole, rate, err := decoded(file)
	if err != nil {
		return err
	}
	return (&sound{name: name, file: file, rate: rate, notes: p.notes, played: p.all, whole: whole, near: 0.08}).listen(s)
}

// decoded is the first channel of a recording.
func decoded(file []byte) ([]float64, int, error) {
	s, err := recording.Open("played", bytes.NewReader(file), 1)
	if err != nil {
		return nil, 0, err
	}
	var out []float64
	for buf := make([]float64, 1<<14); ; {
		n, err := s.Read(buf)
		out = append(out, buf[:n]...)
		if err == io.EOF {
			return out, s.Format().Rate, nil
		}
		if err != nil {
			return nil, 0, err
		}
	}
}
