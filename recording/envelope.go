package recording

import "math"

// Envelope is the outline of a recording: its lowest and highest sample in each of a
// number of stretches, which are made longer as the recording is.
type Envelope struct {
	Low, High []float64

	rate   int
	length int // samples in each stretch
	filled int // samples in the last one
}

// mostStretches is how many stretches an envelope has.
const mostStretches = 4096

// Seconds is how long a stretch is.
func (e *Envelope) Seconds() float64 { return float64(e.length) / float64(max(1, e.rate)) }

func (e *Envelope) add(x []float64) {
	if e.length == 0 {
		e.length = max(1, e.rate/1000)
		e.filled = e.length
	}
	for _, v := range x {
		if e.filled == e.length {
			e.next()
		}
		i := len(e.Low) - 1
		e.Low[i], e.High[i] = math.Min(e.Low[i], v), math.Max(e.High[i], v)
		e.filled++
	}
}

// next begins a stretch, and makes one of two where there are too many.
func (e *Envelope) next() {
	if n := len(e.Low); n == mostStretches {
		for i := range n / 2 {
			e.Low[i], e.High[i] = math.Min(e.Low[2*i], e.Low[2*i+1]), math.Max(e.High[2*i], e.High[2*i+1])
		}
		e.Low, e.High = e.Low[:n/2], e.High[:n/2]
		e.length *= 2
	}
	e.Low, e.High = append(e.Low, math.Inf(1)), append(e.High, math.Inf(-1))
	e.filled = 0
}
