package screen

import (
	"math"

	"evenpole/fit/cell"
)

// hypothesis is one mistake that a mounting may hold.
type hypothesis struct {
	kind      string
	mounting  int   // its place in screener.mountings
	strings   []int // nil: all
	columns   []string
	touched   []int                     // cells that it touches, by their place
	correct   func(x int, c *cell.Cell) // makes of the x-th of them what would have been filed without it
	words     func() string             // the cause, as the record seems to be
	cause     string                    // those, of a hypothesis that has enough evidence
	cells     []cell.Cell               // the touched cells to be corrected in place; nil where there is no memory for them
	corrected map[int]*cell.Cell        // the touched cells as they would have been filed, see screener.put
	pickups   []string                  // whose cells it touches
	prior     float64                   // ln, less the more alternatives there are of its kind
	evidence  float64                   // ln of the likelihood ratio to the record as filed, with the prior
}

// baseline is the record as filed, against which the hypotheses on a mounting are
// weighed. It is used again for mounting after mounting: a record has too many of both
// for memory of their own.
type baseline struct {
	mounting      mounting
	pickup        string
	levels        surroundings
	rows          []*row    // of the mounting's cells
	least         []float64 // half of ln of the least variance that each can have
	density       density
	logLikelihood float64
	lists         float64 // see listEvidence
	impossible    bool    // has a length that cannot be
	namesOnly     bool    // see screener.again
	alone, joint  joint   // of the pickup; of it and the one that was asked for last

	scratch    cell.Cell
	own        cell.Cell   // see becomesImpossible
	renamed    []cell.Cell // see tryOtherPickups
	places     []*among
	rough      rough
	trial      density
	unexpected density // see filedDensity
	cov        []float64
	when       []float64 // see trendOf
	along      []float64 // see slope
	room       []float64
	key        []byte
}

// joint is what is left of a mounting's pickup, or of it together with another one.
type joint struct {
	locals *locals // of the other one
	at     where   // the mounting's session would be there
	rest   float64 // see surroundings; at least, where it is not exact
	exact  bool
	cells  int
}

// correctedCell is the x-th cell that a hypothesis touches, without the mistake, as long as
// no other one is asked for.
func (s *screener) correctedCell(h *hypothesis, b *baseline, x int) *cell.Cell {
	c := &b.scratch
	if h.cells != nil {
		c = &h.cells[x]
	} else {
		*c = *s.cells[h.touched[x]]
	}
	h.correct(x, c)
	return c
}

// put works out the cells as they would have been filed without a mistake.
func (s *screener) put(h *hypothesis) {
	if h.corrected != nil {
		return
	}
	h.corrected = map[int]*cell.Cell{}
	for x, i := range h.touched {
		c := *s.cells[i]
		h.correct(x, &c)
		h.corrected[i] = &c
	}
}

// becomesImpossible reports whether a hypothesis makes cells that cannot be.
func (s *screener) becomesImpossible(h *hypothesis, b *baseline) bool {
	for x := range h.touched {
		if !s.correctedCell(h, b, x).Possible() {
			return true
		}
	}
	return false
}

// mostChange is the most by which a hypothesis changes a length, mm.
func (s *screener) mostChange(h *hypothesis, l *lengthColumn, b *baseline) float64 {
	most := 0.0
	for x, i := range h.touched {
		most = max(most, math.Abs(l.get(s.correctedCell(h, b, x))-l.get(s.cells[i])))
	}
	return most
}
