package recording

import "math"

// Onsets are found by spectral flux: J. P. Bello, L. Daudet, S. Abdallah, C. Duxbury,
// M. Davies, M. B. Sandler, "A tutorial on onset detection in music signals", IEEE Trans.
// Speech and Audio Processing 13 (5), 2005. Its form is that of S. Böck, G. Widmer,
// "Maximum filter vibrato suppression for onset detection", DAFx-13, 2013: logarithms of
// the power in bands, each less the largest of the three bands about it some frames
// before, so that a tone that drifts is no onset. What a logarithm is taken against is
// the noise in the band, as the least of its power over the last seconds: R. Martin,
// "Noise power spectral density estimation based on optimal smoothing and minimum
// statistics", IEEE Trans. Speech and Audio Processing 9 (5), 2001. So a recording's
// level and its hum do not matter.
const (
	frameSeconds = 0.0464 // of sound in a spectrum
	hopSeconds   = 0.005  // from one to the next
	fluxLag      = 4      // hops over which the rise is taken
	noiseFrames  = 300    // hops over which the least power counts as noise
	noiseMargin  = 4      // noise is up to so many times its least power
	octaveBands  = 6
	lowestBand   = 40    // Hz
	highestBand  = 10000 // Hz

	peakBefore = 6    // hops: an onset is the highest flux so long before
	peakAfter  = 10   // and after
	leastFlux  = 0.12 // decades, mean of all bands: less is no onset
)

// frames is the spectrum in bands of each hop, as decades above the noise, the last of
// them. Frame m is centred on sample m·hop.
type frames struct {
	spectra *spectra
	hop     int
	size    int
	edges   []int // of bands, in bins
	least   []leastOf
	floor   float64 // power of the file's own steps, a bin

	count int // frames so far
	rows  [][]float64
	flux  []float64
}

// keptFrames is how many frames are kept: more than any question goes back.
const keptFrames = 512

func newFrames(rate, bits int) *frames {
	size := int(math.Round(frameSeconds * float64(rate)))
	f := &frames{size: size, hop: max(1, int(math.Round(hopSeconds*float64(rate)))), spectra: newSpectra(size, 1, float64(rate))}
	top := min(highestBand, 0.45*float64(rate))
	low := max(1, int(math.Round(lowestBand/f.spectra.bin)))
	for k := low; float64(k)*f.spectra.bin < top; k = max(k+1, int(math.Round(float64(k)*math.Pow(2, 1.0/octaveBands)))) {
		f.edges = append(f.edges, k)
	}
	f.least = make([]leastOf, len(f.edges)-1)
	step := math.Pow(2, -float64(min(bits, 24)-1))
	f.floor = step * step / 12 / float64(size)
	f.rows, f.flux = make([][]float64, keptFrames), make([]float64, keptFrames)
	for i := range f.rows {
		f.rows[i] = make([]float64, len(f.least))
	}
	return f
}

// add adds the frame of a piece of size samples.
func (f *frames) add(x []float64) {
	power, row := f.spectra.of(x), f.rows[f.count%keptFrames]
	for b := range row {
		sum := 0.0
		for _, p := range power[f.edges[b]:f.edges[b+1]] {
			sum += p
		}
		noise := noiseMargin * (f.least[b].add(sum) + f.floor*float64(f.edges[b+1]-f.edges[b]))
		row[b] = math.Log10(1 + sum/noise)
	}
	f.flux[f.count%keptFrames] = f.rise(f.count-fluxLag, f.count)
	f.count++
}

// at is the bands of a frame.
func (f *frames) at(m int) []float64 { return f.rows[m%keptFrames] }

// rise is by how many decades bands rise from one frame to another, on average.
func (f *frames) rise(from, to int) float64 {
	if from < 0 || from <= f.count-keptFrames {
		return 0
	}
	a, b, sum := f.at(from), f.at(to), 0.0
	for i, v := range b {
		was := max(a[max(0, i-1)], a[i], a[min(len(a)-1, i+1)])
		sum += min(1, max(0, v-was))
	}
	return sum / float64(len(b))
}

// onset reports whether frame m is one: its flux is the highest about it.
func (f *frames) onset(m int) bool {
	v := f.flux[m%keptFrames]
	if v < leastFlux || m < peakBefore {
		return false
	}
	for k := m - peakBefore; k <= m+peakAfter; k++ {
		if w := f.flux[k%keptFrames]; w > v || w == v && k < m {
			return false
		}
	}
	return true
}

// leastOf is the least of the last noiseFrames values: it is known to a share of them.
type leastOf struct {
	parts [8]float64
	n     int
}

func (l *leastOf) add(v float64) float64 {
	const part = noiseFrames / 8
	i := l.n / part % len(l.parts)
	if l.n%part == 0 {
		l.parts[i] = v
	}
	l.parts[i] = min(l.parts[i], v)
	l.n++
	least := v
	for k := range min(len(l.parts), (l.n+part-1)/part) {
		least = min(least, l.parts[k])
	}
	return least
}
