package main

import (
	"bufio"
	"bytes"
	"cmp"
	"io"
	"math"
	"os"
	"slices"
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
	key bareKey
	sum float64 // ln v
	n   int
}

// bareList is cells, and where each is.
type bareList struct {
	cells []bareCell
	at    map[bareKey]int32
}

// of finds or adds a cell.
func (l *bareList) of(k bareKey) *bareCell {
	at, ok := l.at[k]
	if !ok {
		at = int32(len(l.cells))
		l.at[k] = at
		l.cells = append(l.cells, bareCell{key: k})
	}
	return &l.cells[at]
}

// bareCells makes cells of a log.
func bareCells(path string) ([]bareCell, error) {
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
	var parts [2]*bareList
	var wg sync.WaitGroup
	wg.Go(func() { parts[0] = bareHalf(io.NewSectionReader(f, 0, info.Size()), half) })
	wg.Go(func() { parts[1] = bareHalf(io.NewSectionReader(f, half, info.Size()-half), info.Size()) })
	wg.Wait()
	for i := range parts[1].cells {
		c := &parts[1].cells[i]
		if at, ok := parts[0].at[c.key]; ok {
			both := &parts[0].cells[at]
			both.sum, both.n = both.sum+c.sum, both.n+c.n
		} else {
			parts[0].cells = append(parts[0].cells, *c)
		}
	}
	return parts[0].cells, nil
}

// bareHalf makes cells of the lines after the first one, up to the one that goes beyond
// a number of bytes.
func bareHalf(r io.Reader, bytesOf int64) *bareList {
	in := bufio.NewReaderSize(r, 256<<10)
	skipped, _ := in.ReadSlice('\n') // a header, or what the other half has
	done := int64(len(skipped))
	list := &bareList{at: map[bareKey]int32{}}
	var cell *bareCell
	for done <= bytesOf {
		line, err := in.ReadSlice('\n')
		if err != nil {
			break
		}
		done += int64(len(line))
		k, v2 := bareRow(line)
		if !(v2 > 0) {
			continue
		}
		if cell == nil || k != cell.key {
			cell = list.of(k)
		}
		cell.sum += math.Log(v2) / 2
		cell.n++
	}
	return list
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
	rss       float64
	slope, se float64
}

// usualGap is where the slope is told, mm.
const usualGap = 3.5

// fitBare fits the curve for one bend after the other, and keeps the best.
func fitBare(cells []bareCell) bareFit {
	var bends []float64
	for bend := 0.5; bend < 30; bend *= 1.25 {
		bends = append(bends, bend)
	}
	fits := make([]bareFit, len(bends))
	var wg sync.WaitGroup
	for thread := range 2 {
		wg.Go(func() {
			for i := thread; i < len(bends); i += 2 {
				fits[i] = fitBend(cells, bends[i])
			}
		})
	}
	wg.Wait()
	return slices.MinFunc(fits, func(a, b bareFit) int { return cmp.Compare(a.rss, b.rss) })
}

// fitBend fits the curve for one bend.
func fitBend(cells []bareCell, bend float64) bareFit {
	var a [4][5]float64 // normal equations, with the right-hand side
	var yy float64
	for i := range cells {
		c := &cells[i]
		core, pole, gap := float64(c.key.core)/1e4, float64(c.key.pole)/100, (float64(c.key.high)-float64(c.key.pole))/100
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
	variance := rss / float64(len(cells)-len(b))
	return bareFit{len(cells), rss, b[3] / (usualGap + bend), math.Sqrt(variance/last) / (usualGap + bend)}
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
