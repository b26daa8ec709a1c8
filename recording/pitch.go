package recording

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Pitch is found by P. McLeod, G. Wyvill, "A smarter way to find pitch", ICMC 2005: the
// normalised square difference, as an autocorrelation by Fourier transforms, and of its
// peaks the first that is nearly the highest. The frequency is then that of the
// fundamental of a stiff string, f_n = n·f·√(1 + B·n²) (H. Fletcher, "Normal vibration
// frequencies of a stiff piano string", J. Acoust. Soc. Am. 36, 1964), by the least
// squares of its first partials.
const (
	pitchSeconds = 0.2  // of sound
	pitchDelay   = 0.03 // s after the release, from where on a string sounds at its pitch
	nearlyBest   = 0.88 // of the highest peak
	leastClear   = 0.6  // clarity below this is no tone
	highestHeard = 5000 // Hz, of partials that count for the pitch

	belowNotes = 0.55 // the lowest pitch looked for, beside the lowest note
	aboveNotes = 2.3  // the highest, beside the highest note
)

// tone is a pitch and how clear it is.
type tone struct {
	freq    float64 // Hz; 0 for none
	clarity float64 // height of the peak, at most 1
}

// tuner finds the pitch of pieces of sound.
type tuner struct {
	rate      float64
	low, high float64 // Hz, of pitches looked for
	ffts      map[int]*fourier.FFT
}

func newTuner(rate int, notes []float64) *tuner {
	t := &tuner{rate: float64(rate), ffts: map[int]*fourier.FFT{}}
	for _, hz := range notes {
		if hz > 0 && (t.low == 0 || hz < t.low) {
			t.low = hz
		}
		t.high = max(t.high, hz)
	}
	if t.low == 0 {
		t.low, t.high = 30/belowNotes, 700
	}
	t.low, t.high = belowNotes*t.low, min(aboveNotes*t.high, t.rate/8)
	return t
}

func (t *tuner) fft(n int) *fourier.FFT {
	if t.ffts[n] == nil {
		t.ffts[n] = fourier.NewFFT(n)
	}
	return t.ffts[n]
}

// listen finds the pitch of a piece.
func (t *tuner) listen(x []float64) tone {
	n := len(x)
	longest := min(int(t.rate/t.low)+2, n*2/3)
	if longest < 8 {
		return tone{}
	}
	similar := t.similarity(t.filtered(x), longest)
	lag, height := firstPeak(similar, max(2, int(t.rate/t.high)))
	if lag == 0 {
		return tone{}
	}
	return tone{t.rate / lag, height}
}

// filtered is the piece without what lies below the lowest pitch and above the partials
// that count.
func (t *tuner) filtered(x []float64) []float64 {
	size := powerOf2(len(x)) * 2
	fft := t.fft(size)
	buf := make([]float64, size)
	mean := meanOf(x)
	for i, v := range x {
		buf[i] = v - mean
	}
	c := fft.Coefficients(nil, buf)
	for i := range c {
		if hz := float64(i) * t.rate / float64(size); hz < t.low || hz > highestHeard {
			c[i] = 0
		}
	}
	out := fft.Sequence(buf, c)[:len(x)]
	for i := range out {
		out[i] /= float64(size)
	}
	return out
}

// similarity is the normalised square difference of a piece at lags below longest.
func (t *tuner) similarity(x []float64, longest int) []float64 {
	size := powerOf2(len(x)) * 2
	fft := t.fft(size)
	buf := make([]float64, size)
	copy(buf, x)
	c := fft.Coefficients(nil, buf)
	for i, v := range c {
		c[i] = complex(real(v)*real(v)+imag(v)*imag(v), 0)
	}
	r := fft.Sequence(buf, c)
	out := make([]float64, longest)
	m := 2 * r[0] / float64(size)
	for lag := range out {
		if m <= 0 {
			return out
		}
		out[lag] = 2 * r[lag] / float64(size) / m
		m -= x[lag]*x[lag] + x[len(x)-1-lag]*x[len(x)-1-lag]
	}
	return out
}

// firstPeak is the lag, between samples, and the height of the first peak that is nearly
// as high as the highest, from a lag on; 0 without any. A peak is the highest point
// between two crossings of zero.
func firstPeak(y []float64, from int) (lag, height float64) {
	var peaks []int
	best, at := 0.0, 0
	left := false // the slope from lag 0
	for i := 1; i < len(y)-1; i++ {
		switch {
		case y[i] <= 0:
			if at > 0 {
				peaks = append(peaks, at)
			}
			at, left = 0, true
		case left && i >= from && y[i] > y[i-1] && y[i] >= y[i+1] && (at == 0 || y[i] > y[at]):
			at = i
			best = max(best, y[i])
		}
	}
	if at > 0 {
		peaks = append(peaks, at)
	}
	for _, i := range peaks {
		if y[i] >= nearlyBest*best {
			return parabola(y, i)
		}
	}
	return 0, 0
}

// parabola is the top of the parabola through a peak and its neighbours.
func parabola(y []float64, i int) (at, height float64) {
	a, b, c := y[i-1], y[i], y[i+1]
	bend := a - 2*b + c
	if bend == 0 {
		return float64(i), b
	}
	d := (a - c) / 2 / bend
	return float64(i) + d, b - (a-c)*d/4
}

// fundamental refines a pitch by the partials in a power spectrum.
func fundamental(power []float64, bin, freq float64) float64 {
	const most, near = 6, 0.03
	strongest := 0.0
	type partial struct{ n, freq, power float64 }
	var found []partial
	for n := 1.0; n <= most; n++ {
		if hz, p := peakNear(power, bin, n*freq, near*freq+bin); hz > 0 {
			found = append(found, partial{n, hz, p})
			strongest = max(strongest, p)
		}
	}
	// f_n²/n² = f² + f²·B·n², a line in n², in which strong partials weigh more.
	var w, x, y, xx, xy float64
	for _, p := range found {
		if p.power < strongest/1000 {
			continue
		}
		weight, u, v := math.Sqrt(p.power)*p.n*p.n, p.n*p.n, p.freq*p.freq/p.n/p.n
		w, x, y, xx, xy = w+weight, x+weight*u, y+weight*v, xx+weight*u*u, xy+weight*u*v
	}
	if w == 0 {
		return freq
	}
	slope := 0.0
	if d := w*xx - x*x; d > 1e-9*w*xx {
		slope = max(0, (w*xy-x*y)/d) // stiffness raises partials, and never lowers them
	}
	if f2 := (y - slope*x) / w; f2 > 0 {
		if f := math.Sqrt(f2 + slope); math.Abs(f/freq-1) < near {
			return f
		}
	}
	return freq
}

// peakNear is the frequency and the power of the highest peak within so many Hz; 0
// without any.
func peakNear(power []float64, bin, hz, within float64) (at, height float64) {
	from, to := max(1, int((hz-within)/bin)), min(len(power)-2, int((hz+within)/bin)+1)
	best := 0
	for i := from; i <= to; i++ {
		if power[i] > power[i-1] && power[i] >= power[i+1] && (best == 0 || power[i] > power[best]) {
			best = i
		}
	}
	if best == 0 || power[best] == 0 {
		return 0, 0
	}
	log := []float64{math.Log(power[best-1]), math.Log(power[best]), math.Log(power[best+1])}
	d, _ := parabola(log, 1)
	return (float64(best) + d - 1) * bin, power[best]
}

// cents is how far a frequency is above another.
func cents(hz, above float64) float64 { return 1200 * math.Log2(hz/above) }
