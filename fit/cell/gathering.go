package cell

import (
	"iter"

	"evenpole/capture/record"
	"evenpole/capture/record/pack"
)

// A Gathering is [Gather] of one file in steps: what was made of the rows so far is
// packed, and a later one goes on from there with the rows that follow. Its cells are, to
// the last bit, those that Gather makes of all of these rows.
type Gathering struct{ g *gatherer }

// Begin reads the rows of a file.
func Begin(rows iter.Seq2[record.Reading, error]) (*Gathering, error) {
	g := newGatherer(mostOpen)
	if err := g.read(everything, []iter.Seq2[record.Reading, error]{rows}); err != nil {
		return nil, err
	}
	g.reopen()
	return &Gathering{g}, nil
}

// Resume goes on from what another gathering packed. What cannot be is damaged, and the
// gathering no good then; what can be is taken as true.
func Resume(c *pack.Coder) *Gathering {
	g := newGatherer(mostOpen)
	g.pack(c)
	g.begin(0, 1)
	return &Gathering{g}
}

// Add reads the rows that follow those that were read before. ok is false where these do
// not say enough, as a row belongs to a cell that was packed as a sum, or takes a row of
// one back: read the whole file then, from [Begin] on.
func (x *Gathering) Add(rows iter.Seq2[record.Reading, error]) (ok bool, err error) {
	if _, err := x.g.meet(everything, rows); err != nil {
		return false, err
	}
	return !x.g.miss(&x.g.standing), nil
}

// stillOpen is to how many of the last takes, some hours' work, the cells are packed with
// their takes, as more may come.
const stillOpen = 2000

// Pack packs what was read so far.
func (x *Gathering) Pack(c *pack.Coder) { x.pack(c, stillOpen) }

func (x *Gathering) pack(c *pack.Coder, stillOpen int32) {
	x.g.sumUpIdle(&x.g.standing, stillOpen)
	x.g.pack(c)
}

// Data ends the gathering.
func (x *Gathering) Data() *Data { return x.g.data() }
