package main

import (
	"bufio"
	"bytes"
	"io"
	"math"
	"os"
	"sync"
)

// The limit: two threads, each with half of the file, that take the columns to be in the
// order of this program's logs, believe every number, know of no quotes, retractions and
// repeats, and make plain means.

// bareKey tells cells apart; lengths as they are written.
type bareKey struct {
	pickup, session  uint64 // hashes
	number           byte
	core, pole, high uint32
}

type bareCell struct {
	sum float64 // ln v
	n   int
}

// bareCells makes cells of a log.
func bareCells(path string) (map[bareKey]*bareCell, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	half := info.Size() / 2
	var parts [2]map[bareKey]*bareCell
	var wg sync.WaitGroup
	wg.Go(func() { parts[0] = bareHalf(io.NewSectionReader(f, 0, info.Size()), half) })
	wg.Go(func() { parts[1] = bareHalf(io.NewSectionReader(f, half, info.Size()-half), info.Size()) })
	wg.Wait()
	for k, c := range parts[1] {
		if other := parts[0][k]; other != nil {
			other.sum, other.n = other.sum+c.sum, other.n+c.n
		} else {
			parts[0][k] = c
		}
	}
	return parts[0], nil
}

// bareHalf makes cells of the lines after the first one, up to the one that goes beyond
// a number of bytes.
func bareHalf(r io.Reader, bytesOf int64) map[bareKey]*bareCell {
	in := bufio.NewReaderSize(r, 256<<10)
	skipped, _ := in.ReadSlice('\n') // a header, or what the other half has
	done := int64(len(skipped))
	cells := map[bareKey]*bareCell{}
	var key bareKey
	var cell *bareCell
	for done <= bytesOf {
		line, err := in.ReadSlice('\n')
		if err != nil {
			break
		}
		done += int64(len(line))
		k, v := bareRow(line)
		if !(v > 0) {
			continue
		}
		if cell == nil || k != key {
			if cell = cells[k]; cell == nil {
				cell = &bareCell{}
				cells[k] = cell
			}
			key = k
		}
		cell.sum += math.Log(v) / 2
		cell.n++
	}
	return cells
}

// bareRow is the cell of a row, and v^2; 0 when the row is no good take.
func bareRow(line []byte) (k bareKey, v2 float64) {
	var rms float64
	for column := 0; column < 24; column++ {
		i := bytes.IndexByte(line, ',')
		text := line[:i]
		line = line[i+1:]
		switch column {
		case 1:
			k.session = bareHash(text)
		case 6:
			k.pickup = bareHash(text)
		case 8:
			k.number = text[0]
		case 10:
			k.core = bareDigits(text)
		case 13:
			k.pole = bareDigits(text)
		case 14:
			k.high = bareDigits(text)
		case 15:
			if text[0] != 'P' {
				return k, 0
			}
		case 17:
			rms = float64(bareDigits(text)) / 1000
		case 21:
			quiet := float64(bareDigits(text)) / 1000
			v2 = rms*rms - quiet*quiet
		case 23:
			if string(text) != "ok" {
				return k, 0
			}
		}
	}
	return k, v2
}

func bareHash(text []byte) uint64 {
	h := uint64(14695981039346656037)
	for _, c := range text {
		h = (h ^ uint64(c)) * 1099511628211
	}
	return h
}

// bareDigits is a number without its point.
func bareDigits(text []byte) (n uint32) {
	for _, c := range text {
		if c != '.' {
			n = 10*n + uint32(c-'0')
		}
	}
	return n
}

// A bareFit is a plain falloff curve with no random effects: ln v of a cell is
//
//	level + area ln(core^2) + protrusion (pole height) - n ln(gap + bend)
//
// fitted by least squares to the cells' means. slope is n/(gap + bend) at usualGap, 1/mm,
// and se its standard error at that bend.
type bareFit struct {
	cells     int
	slope, se float64
}

// usualGap is where the slope is told, mm.
const usualGap = 3.5

// fitBare fits the curve for one bend after the other, and keeps the best.
func fitBare(cells map[bareKey]*bareCell) bareFit {
	best, least := bareFit{}, math.Inf(1)
	for bend := 0.5; bend < 30; bend *= 1.25 {
		var a [4][5]float64 // normal equations, with the right-hand side
		var yy float64
		for k, c := range cells {
			core, pole, gap := float64(k.core)/1e4, float64(k.pole)/100, (float64(k.high)-float64(k.pole))/100
			row := [5]float64{1, 2 * math.Log(core), pole, -math.Log(gap + bend), c.sum / float64(c.n)}
			for i := range a {
				for j := range row {
					a[i][j] += row[i] * row[j]
				}
			}
			yy += row[4] * row[4]
		}
		b, last := eliminate(a)
		rss := yy
		for i := range a {
			rss -= b[i] * a[i][4]
		}
		if rss < least {
			variance := rss / float64(len(cells)-len(b))
			least, best = rss, bareFit{len(cells), b[3] / (usualGap + bend), math.Sqrt(variance/last) / (usualGap + bend)}
		}
	}
	return best
}

// eliminate solves normal equations; last is the last pivot, whose inverse is the variance
// of the last unknown.
func eliminate(a [4][5]float64) (b [4]float64, last float64) {
	for i := range a {
		for k := i + 1; k < 4; k++ {
			f := a[k][i] / a[i][i]
			for j := range a[k] {
				a[k][j] -= f * a[i][j]
			}
		}
	}
	for i := 3; i >= 0; i-- {
		b[i] = a[i][4]
		for j := i + 1; j < 4; j++ {
			b[i] -= a[i][j] * b[j]
		}
		b[i] /= a[i][i]
	}
	return b, a[3][3]
}
