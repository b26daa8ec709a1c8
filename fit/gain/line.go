package gain

import (
	"math"
	"slices"
)

// point is the mean of n values at x, one of which has standard deviation sd
// about it.
type point struct {
	channel     int
	x, y, n, sd float64
}

// channel is the points of one channel.
type channel struct {
	number int
	n      float64 // values
	x, y   float64 // their means
	a      float64 // the line at x0
}

// line is the calibration line y = a + b (x - x0) by least squares, as JCGM
// 100:2008, annex H.3, has it; with several channels each has an a of its own, of
// which the line's is the mean. Without two levels in a channel there is no b.
type line struct {
	x0       float64
	a, b     float64
	va, vb   float64 // variances
	cov      float64 // of a and b
	sd, dof  float64 // of one value about the line
	sloped   bool
	channels []channel
}

// sameLevel is how far apart, dB, levels of a source count as one.
const sameLevel = 0.01

// fitLine fits a line, with its a at x0.
func fitLine(points []point, x0 float64) (*line, error) {
	l := &line{x0: x0, channels: channelsOf(points)}
	var values, sxx, sxy, squares float64
	for _, p := range points {
		ch := l.channel(p.channel)
		values += p.n
		sxx += p.n * (p.x - ch.x) * (p.x - ch.x)
		sxy += p.n * (p.x - ch.x) * (p.y - ch.y)
		squares += (p.n - 1) * p.sd * p.sd
	}
	l.dof = values - float64(len(l.channels))
	if l.sloped = sxx > sameLevel*sameLevel; l.sloped {
		l.b = sxy / sxx
		l.dof--
	}
	if l.dof < 1 {
		return nil, &InputError{"expected more readings than one a channel and level: their scatter is not known"}
	}
	for _, p := range points {
		ch := l.channel(p.channel)
		r := p.y - ch.y - l.b*(p.x-ch.x)
		squares += p.n * r * r
	}
	l.sd = math.Sqrt(squares / l.dof)
	if l.sloped {
		l.vb = squares / l.dof / sxx
	}
	l.levels(squares / l.dof)
	return l, nil
}

// levels works out each channel's a and their mean, at x0.
func (l *line) levels(variance float64) {
	n := float64(len(l.channels))
	var away float64 // of the mean of the channels' mean x from x0
	for i := range l.channels {
		ch := &l.channels[i]
		ch.a = ch.y - l.b*(ch.x-l.x0)
		l.a += ch.a / n
		l.va += variance / ch.n / (n * n)
		away += (ch.x - l.x0) / n
	}
	l.va += away * away * l.vb
	l.cov = -away * l.vb
}

// at is the line at x, and its standard uncertainty (JCGM 100:2008, H.3.4).
func (l *line) at(x float64) (y, u float64) {
	d := x - l.x0
	return l.a + l.b*d, math.Sqrt(l.va + d*d*l.vb + 2*d*l.cov)
}

// offsetVariance is the variance of channel i's offset: its a less the mean of all.
func (l *line) offsetVariance(i int) float64 {
	n := float64(len(l.channels))
	variance := l.sd * l.sd
	var v, away float64
	for j, ch := range l.channels {
		share := -1 / n
		if j == i {
			share++
		}
		v += share * share * variance / ch.n
		away += share * (ch.x - l.x0)
	}
	return v + away*away*l.vb
}

func (l *line) channel(number int) *channel {
	for i := range l.channels {
		if l.channels[i].number == number {
			return &l.channels[i]
		}
	}
	return nil
}

// channelsOf lists the channels with their means.
func channelsOf(points []point) []channel {
	var out []channel
	for _, number := range sorted(points) {
		ch := channel{number: number}
		for _, p := range points {
			if p.channel == number {
				ch.n += p.n
				ch.x += p.n * p.x
				ch.y += p.n * p.y
			}
		}
		ch.x, ch.y = ch.x/ch.n, ch.y/ch.n
		out = append(out, ch)
	}
	return out
}

// sorted numbers the channels that points name, in order.
func sorted(points []point) []int {
	var numbers []int
	for _, p := range points {
		if !slices.Contains(numbers, p.channel) {
			numbers = append(numbers, p.channel)
		}
	}
	slices.Sort(numbers)
	return numbers
}
