package recording

import (
	"math"
	"math/bits"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/dsp/window"
)

// spectra makes power spectra of pieces of one length, under a Hann window.
type spectra struct {
	fft    *fourier.FFT
	window []float64
	buf    []float64
	coeff  []complex128
	power  []float64
	bin    float64 // Hz from one bin to the next
}

// newSpectra is for pieces of n samples, padded with zeros by a factor.
func newSpectra(n, pad int, rate float64) *spectra {
	size := powerOf2(n) * pad
	w := make([]float64, n)
	for i := range w {
		w[i] = 1
	}
	return &spectra{fourier.NewFFT(size), window.Hann(w), make([]float64, size), make([]complex128, size/2+1), make([]float64, size/2+1), rate / float64(size)}
}

// of is the power in each bin of a piece, its mean removed: a sine of amplitude a has
// a² / 4 in its highest bin. The result holds until the next call.
func (s *spectra) of(x []float64) []float64 {
	mean, sum := meanOf(x), 0.0
	clear(s.buf)
	for i, w := range s.window {
		s.buf[i] = (x[i] - mean) * w
		sum += w
	}
	s.fft.Coefficients(s.coeff, s.buf)
	for i, c := range s.coeff {
		a := cmplx.Abs(c) / sum
		s.power[i] = a * a
	}
	return s.power
}

// powerOf2 is the least power of 2 that is not below n.
func powerOf2(n int) int { return 1 << bits.Len(uint(n-1)) }

func meanOf(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(max(1, len(x)))
}

// rmsOf is the RMS of samples and the largest magnitude, with the mean removed.
func rmsOf(x []float64) (rms, peak float64) {
	mean, sum := meanOf(x), 0.0
	for _, v := range x {
		v -= mean
		sum += v * v
		peak = max(peak, math.Abs(v))
	}
	return math.Sqrt(sum / float64(max(1, len(x)))), peak
}
