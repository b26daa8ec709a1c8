package firmwarenotes

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"testing"
)

// pluck is a string as the ADC would see it: harmonics that die away, the higher ones
// faster, a second strike where there is one, noise and an offset.
type pluck struct {
	rate, seconds float64 // Hz, s
	freq, level   float64 // Hz, codes of the fundamental at the release
	tau           float64 // s
	noise, offset float64 // codes RMS, codes
	again         float64 // s, when it is struck once more; 0: never
	top           int     // highest code
	cut           float64 // codes from the middle at which the input clips; 0: at the ends
}

func (p pluck) codes(r *rand.Rand) []uint16 {
	middle := float64(p.top/2 + 1)
	limit := middle
	if p.cut > 0 {
		limit = p.cut
	}
	harmonics := 1 + int(min(12, p.rate/3/p.freq))
	phase := make([]float64, harmonics)
	for h := range phase {
		phase[h] = 2 * math.Pi * r.Float64()
	}
	out := make([]uint16, int(p.rate*p.seconds))
	for i := range out {
		t := float64(i) / p.rate
		since := t
		if p.again > 0 && t >= p.again {
			since = t - p.again
		}
		x := p.offset + p.noise*r.NormFloat64()
		for h := range phase {
			k := float64(h + 1)
			x += p.level / (k * math.Sqrt(k)) * math.Exp(-since*k/p.tau) * math.Sin(2*math.Pi*k*p.freq*t+phase[h])
		}
		x = max(-limit, min(x, limit))
		out[i] = uint16(max(0, min(math.Round(middle+x), float64(p.top))))
	}
	return out
}

// double is RMS and peak in uV in double precision.
func double(codes []uint16, factor float64) (rms, peak float64) {
	sum := 0.0
	for _, c := range codes {
		sum += float64(c)
	}
	mean, squares := sum/float64(len(codes)), 0.0
	for _, c := range codes {
		x := float64(c) - mean
		squares += x * x
		peak = max(peak, math.Abs(x))
	}
	return factor * math.Sqrt(squares/float64(len(codes))), factor * peak
}

// measured is what level.c makes of codes.
type measured struct {
	rms, peak, freq, window int
	flags                   int
}

// levelProgram builds level.c for this computer.
func levelProgram(t *testing.T) string {
	t.Helper()
	return compile(t, "-Ic", filepath.Join("c", "level.c"), filepath.Join("testdata", "level.c"))
}

func measure(t *testing.T, program string, codes []uint16, rate, skip, window, factor, top, moved int) (m measured) {
	t.Helper()
	cmd := exec.Command(program, fmt.Sprint(rate), fmt.Sprint(skip), fmt.Sprint(window), fmt.Sprint(factor), fmt.Sprint(top), fmt.Sprint(moved))
	var in bytes.Buffer
	binary.Write(&in, binary.LittleEndian, codes)
	cmd.Stdin = &in
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if _, err := fmt.Sscanf(string(out), "%d %d %d %d %X", &m.rms, &m.peak, &m.freq, &m.window, &m.flags); err != nil {
		t.Fatalf("%q: %v", out, err)
	}
	return m
}

// TestLevelsAgreeWithDoublePrecision: the bounds are those that level.h states.
func TestLevelsAgreeWithDoublePrecision(t *testing.T) {
	program := levelProgram(t)
	r := rand.New(rand.NewPCG(17, 4))
	rates := []int{8000, 16000, 32000, 44100, 48000}
	tops := []int{4095, 65535}
	for i := range 80 {
		rate, top := rates[i%len(rates)], tops[i%len(tops)]
		range_ := float64(top/2 + 1)
		p := pluck{rate: float64(rate), seconds: 0.6, freq: 30 * math.Pow(700.0/30, r.Float64()), top: top,
			level: range_ * (0.02 + 0.3*r.Float64()), tau: 0.4 + 2*r.Float64(), offset: range_ * 0.05 * r.NormFloat64()}
		p.noise = p.level / 30 * r.Float64()
		codes := p.codes(r)
		skip, window := rate/50, rate/4+r.IntN(rate/4)
		factor := int(65536 * 2e6 / range_ * (0.1 + r.Float64()))
		got := measure(t, program, codes, rate, skip, window, factor, top, 1)
		perCode := float64(factor) / 65536
		rms, peak := double(codes[skip:skip+window], perCode)
		if off := math.Abs(float64(got.rms) - rms); off > 0.5+0.5*perCode/float64(window)+1e-6*rms {
			t.Errorf("case %d: RMS %d uV, in double precision %.3f", i, got.rms, rms)
		}
		if off := math.Abs(float64(got.peak) - peak); off > 0.5+1e-6 {
			t.Errorf("case %d: peak %d uV, in double precision %.3f", i, got.peak, peak)
		}
		if off := float64(got.freq)/1000/p.freq - 1; math.Abs(off) > 0.001 {
			t.Errorf("case %d: %.3f Hz at %d Hz over %d samples, true %.3f: %+.3f %%", i, float64(got.freq)/1000, rate, window, p.freq, 100*off)
		}
		if got.flags != 0 || got.window != (window*1000+rate/2)/rate {
			t.Errorf("case %d: %+v of %.1f Hz at %d Hz", i, got, p.freq, rate)
		}
	}
}

// TestFlagsOfSamples: each fault of the samples raises its flag, and no other.
func TestFlagsOfSamples(t *testing.T) {
	program := levelProgram(t)
	clean := pluck{rate: 32000, seconds: 0.6, freq: 196, level: 6000, tau: 1, noise: 20, top: 65535}
	for name, x := range map[string]struct {
		spoil func(*pluck)
		moved int
		flags int
	}{
		"clean":               {func(*pluck) {}, 1, 0},
		"struck twice":        {func(p *pluck) { p.tau, p.again = 0.15, 0.25 }, 1, 2},
		"struck in a quiet":   {func(p *pluck) { p.tau, p.again = 0.15, 0.25 }, 0, 0},
		"clips at the ADC":    {func(p *pluck) { p.level = 60000 }, 1, 1},
		"clips before it":     {func(p *pluck) { p.level, p.cut = 60000, 20000 }, 1, 0}, // its limit is for the board to know
		"cut short":           {func(p *pluck) { p.seconds = 0.3 }, 1, 4},
		"short and clipped":   {func(p *pluck) { p.seconds, p.level = 0.3, 60000 }, 1, 5},
		"ends in the skip":    {func(p *pluck) { p.seconds = 0.01 }, 1, 4},
		"no sample at all":    {func(p *pluck) { p.seconds = 0 }, 1, 4},
		"silence":             {func(p *pluck) { p.level, p.noise = 0, 0 }, 1, 0},
		"noise and no string": {func(p *pluck) { p.level, p.noise = 0, 50 }, 1, 0},
	} {
		p := clean
		x.spoil(&p)
		got := measure(t, program, p.codes(rand.New(rand.NewPCG(1, 2))), 32000, 640, 16000, 4_000_000, 65535, x.moved)
		if got.flags != x.flags {
			t.Errorf("%s: flags %X, want %X: %+v", name, got.flags, x.flags, got)
		}
		if known := got.freq != 0; known == (p.level == 0 || p.seconds < 0.1) && p.again == 0 && p.level < 60000 {
			t.Errorf("%s: %d mHz", name, got.freq)
		}
	}
}

// TestLevelsOfExtremes: no sum overflows, in the longest window at the ends of the range.
func TestLevelsOfExtremes(t *testing.T) {
	program := levelProgram(t)
	for name, at := range map[string]func(i int) uint16{
		"lowest":  func(int) uint16 { return 0 },
		"highest": func(int) uint16 { return 65535 },
		"square":  func(i int) uint16 { return uint16(65535 * (i / 100 % 2)) },
		"fastest": func(i int) uint16 { return uint16(65535 * (i % 2)) },
	} {
		codes := make([]uint16, 65536)
		for i := range codes {
			codes[i] = at(i)
		}
		got := measure(t, program, codes, 48000, 0, 65536, 4_000_000, 65535, 1)
		rms, peak := double(codes, 4_000_000.0/65536)
		if math.Abs(float64(got.rms)-rms) > 0.51 || math.Abs(float64(got.peak)-peak) > 0.51 || got.flags&1 == 0 {
			t.Errorf("%s: %+v, in double precision %.3f and %.3f", name, got, rms, peak)
		}
	}
}

// TestNoFloatNoHeap: a small core has neither.
func TestNoFloatNoHeap(t *testing.T) {
	banned := regexp.MustCompile(`\b(float|double|malloc|calloc|realloc|free|printf|snprintf)\b`)
	comment := regexp.MustCompile(`(?s)/\*.*?\*/`)
	for _, name := range []string{"level.c", "level.h", "jig.c", "jig.h"} {
		text, err := os.ReadFile(filepath.Join("c", name))
		if err != nil {
			t.Fatal(err)
		}
		if found := banned.FindString(comment.ReplaceAllString(string(text), "")); found != "" {
			t.Errorf("%s has %s", name, found)
		}
	}
}
