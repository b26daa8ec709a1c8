package share

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/profiles"
	"evenpole/shop"
)

// batch is how many entries, and batchBytes how many bytes of them, are kept in one go:
// what is cut off loses at most as much work, and no entry.
const (
	batch      = 5000
	batchBytes = 8 << 20
)

// A Bench is a shop that has joined a shared record.
type Bench struct {
	*Settings
	shop *shop.Shop
}

// Of is the bench that a shop is: ErrNotJoined where it is none.
func Of(s *shop.Shop) (*Bench, error) {
	x, err := ReadSettings(s)
	if err != nil {
		return nil, err
	}
	return &Bench{x, s}, nil
}

func (b *Bench) shared(names ...string) string {
	return filepath.Join(append([]string{b.shop.Dir(), shop.SharedDir}, names...)...)
}

// own is the bench's own streams.
func (b *Bench) own() *replica {
	return &replica{bench: b.Bench, dir: b.shop.Dir(), docs: b.shared(documentsFile)}
}

// other is the copy of another bench's streams.
func (b *Bench) other(bench string) *replica {
	dir := b.shared(benchesDir, bench)
	return &replica{bench: bench, dir: dir, docs: filepath.Join(dir, documentsFile)}
}

// others are the copies that there are, by name.
func (b *Bench) others() ([]*replica, error) {
	entries, err := os.ReadDir(b.shared(benchesDir))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	var out []*replica
	for _, e := range entries {
		if e.IsDir() && CheckBench(e.Name()) == nil && e.Name() != b.Bench {
			out = append(out, b.other(e.Name()))
		}
	}
	return out, nil
}

// Moved counts the entries of a stream that were pushed or pulled.
type Moved struct {
	Bench   string `json:"bench"`
	Stream  Stream `json:"stream"`
	Entries int64  `json:"entries"`
	Of      int64  `json:"of"` // there are now
}

// Report is what an exchange did.
type Report struct {
	Bench  string   `json:"bench"`
	Pushed []Moved  `json:"pushed"`
	Pulled []Moved  `json:"pulled"`
	Held   bool     `json:"held_back"` // a writer is at work: what is not certain yet waits
	Faults []Fault  `json:"faults"`
	Passed []string `json:"passed_over"` // documents that cannot be shared, and why
}

// Exchange pushes what is new in the shop and pulls what others added. It may be ended at
// any instant, and the next one goes on where it stopped: how far each side is stands in
// what it keeps.
//
// What the shop has is read, and compared with what was shared of it: a *DivergedError says
// that a row was altered or is gone. What others shared is compared with its chains and with
// the copy here; where they do not agree that is a fault of the report, nothing of that
// bench is pulled, and its copy stays as it was.
func (b *Bench) Exchange(ctx context.Context, c Carrier) (*Report, error) {
	release, err := b.takeTurn()
	if err != nil {
		return nil, err
	}
	defer release()
	r := &Report{Bench: b.Bench, Pushed: []Moved{}, Pulled: []Moved{}, Faults: []Fault{}, Passed: []string{}}
	if err := b.refresh(r); err != nil {
		return r, err
	}
	heads, err := c.Heads(ctx)
	if err != nil {
		return r, err
	}
	pushed := b.push(ctx, c, heads[b.Bench], r)
	if err := b.pull(ctx, c, heads, r); err != nil {
		return r, errors.Join(pushed, err)
	}
	if pushed != nil {
		return r, pushed
	}
	record.Tell(ctx, "looking at the shared record")
	faults, err := c.Scan(ctx)
	r.Faults = append(r.Faults, faults...)
	return r, err
}

func (b *Bench) takeTurn() (release func(), err error) {
	if err := disk.MakeDir(b.shared()); err != nil {
		return nil, err
	}
	disk.Sweep(b.shared())
	return disk.TakeTurn(b.shared(turnFile))
}

// refresh notes what is new of the shop's own documents.
func (b *Bench) refresh(r *Report) error {
	l, err := openLedger(b.shared(documentsFile))
	if err != nil {
		return err
	}
	passed, err := l.refresh(b.shop.Dir(), b.Identity)
	r.Passed = append(r.Passed, passed...)
	return err
}

// push adds to the carrier what it does not have yet of the bench's own streams.
func (b *Bench) push(ctx context.Context, c Carrier, there Heads, r *Report) error {
	p := &pusher{ctx: ctx, carrier: c, bench: b.Bench}
	for _, s := range Streams() {
		n, held, err := p.push(b.own(), s, there.Of(b.Bench, s))
		r.Held = r.Held || held
		if err == nil && s == Documents { // tells at once that another shop has this name
			err = p.flush()
		}
		if err != nil {
			return err
		}
		if n.Entries > 0 {
			r.Pushed = append(r.Pushed, n)
		}
	}
	return p.flush()
}

// pusher gathers entries until there are enough to be kept in one go.
type pusher struct {
	ctx     context.Context
	carrier Carrier
	bench   string
	wait    []Entry
	bytes   int
}

// push reads an own stream from its start, compares it with how far the carrier is, and
// adds what follows.
func (p *pusher) push(r *replica, s Stream, there Head) (n Moved, held bool, err error) {
	n = Moved{Bench: r.bench, Stream: s}
	for e, err := range r.entries(s) {
		switch {
		case errors.Is(err, errHeld):
			return n, true, nil
		case err != nil:
			return n, false, err
		}
		if err := record.TellRow(p.ctx, string(s), int(e.N)); err != nil {
			return n, false, err
		}
		n.Of = e.N
		switch {
		case e.N < there.N:
			continue
		case e.N == there.N && e.Chain != there.Chain:
			return n, false, p.divergence(r, s, e.N)
		case e.N == there.N:
			continue
		}
		if err := p.add(e); err != nil {
			return n, false, err
		}
		n.Entries++
	}
	if n.Of < there.N {
		return n, false, p.divergence(r, s, n.Of)
	}
	return n, false, nil
}

// divergence finds the first entry of an own stream, of which there are so many here, that
// the carrier has otherwise.
func (p *pusher) divergence(r *replica, s Stream, here int64) error {
	at, err := firstDifference(p.ctx, p.carrier, r, s)
	if err != nil {
		return err
	}
	return &DivergedError{r.bench, s, at, at > here}
}

func (p *pusher) add(e Entry) error {
	p.wait, p.bytes = append(p.wait, e), p.bytes+len(e.Cells)
	if len(p.wait) < batch && p.bytes < batchBytes {
		return nil
	}
	return p.flush()
}

func (p *pusher) flush() error {
	if len(p.wait) == 0 {
		return nil
	}
	err := p.carrier.Append(p.ctx, p.bench, p.wait)
	p.wait, p.bytes = nil, 0
	return err
}

// firstDifference compares a stream here with the carrier's, entry by entry.
func firstDifference(ctx context.Context, c Carrier, r *replica, s Stream) (n int64, err error) {
	next, stop := iter.Pull2(r.entries(s))
	defer stop()
	for there, err := range c.Read(ctx, r.bench, s, 0) {
		if err != nil {
			return n, err
		}
		here, err, ok := next()
		if !ok || err != nil || here.Cells != there.Cells {
			return there.N, nil
		}
		n = there.N
	}
	return n, nil
}

// pull copies what the carrier has of other benches.
func (b *Bench) pull(ctx context.Context, c Carrier, heads map[string]Heads, r *Report) error {
	if err := disk.MakeDir(b.shared(benchesDir)); err != nil {
		return err
	}
	for _, bench := range slices.Sorted(maps.Keys(heads)) {
		if bench == b.Bench || CheckBench(bench) != nil {
			continue
		}
		x := b.other(bench)
		if err := x.mend(); err != nil {
			return err
		}
		for _, s := range Streams() {
			n, fault, err := pull(ctx, c, x, s, heads[bench].Of(bench, s))
			if n.Entries > 0 {
				r.Pulled = append(r.Pulled, n)
			}
			if bad := (*BadError)(nil); errors.As(err, &bad) {
				fault, err = &Fault{bench, s, 0, bad.Msg}, nil
			}
			if err != nil {
				return err
			}
			if fault != nil {
				r.Faults = append(r.Faults, *fault)
				break
			}
		}
		if err := x.restore(); err != nil {
			return err
		}
	}
	return nil
}

// pull copies what follows of a stream. Entries are compared with their chain before they
// are written.
func pull(ctx context.Context, c Carrier, x *replica, s Stream, there Head) (n Moved, fault *Fault, err error) {
	here, err := x.head(s)
	if err != nil {
		return n, nil, err
	}
	n = Moved{Bench: x.bench, Stream: s, Of: here.N}
	say := func(at int64, format string, args ...any) *Fault {
		return &Fault{x.bench, s, at, fmt.Sprintf(format, args...)}
	}
	switch {
	case there.N < here.N:
		return n, say(there.N+1, "the shared record lacks %s that this bench pulled before", profiles.Count(int(here.N-there.N), "entry")), nil
	case there.N == here.N && there.Chain == here.Chain:
		return n, nil, nil
	case there.N == here.N:
		at, err := firstDifference(ctx, c, x, s)
		return n, say(at, "the shared record does not say what the copy here says: one of them was altered; the copy stays as it was (delete %s to fetch it anew)", x.dir), err
	}
	var wait []Entry
	bytes := 0
	flush := func() error {
		err := x.append(s, wait)
		n.Entries, n.Of = n.Entries+int64(len(wait)), n.Of+int64(len(wait))
		wait, bytes = nil, 0
		return err
	}
	for e, err := range c.Read(ctx, x.bench, s, here.N) {
		if err != nil {
			return n, nil, errors.Join(err, flush())
		}
		want := here.Next(e.Cells)
		if e.N != want.N || e.Chain != want.Chain {
			fault := say(want.N, "it does not follow from the entries before it: it, or one of these, was altered in the shared record")
			if n.Of+int64(len(wait)) > 0 && len(wait) == 0 && n.Entries == 0 {
				at, err := firstDifference(ctx, c, x, s)
				if err != nil {
					return n, nil, err
				}
				if at < want.N {
					fault.N = at
				}
			}
			return n, fault, flush()
		}
		here, wait, bytes = want, append(wait, e), bytes+len(e.Cells)
		if len(wait) == batch || bytes >= batchBytes {
			if err := record.TellRow(ctx, x.bench+" "+string(s), int(e.N)); err != nil {
				return n, nil, errors.Join(err, flush())
			}
			if err := flush(); err != nil {
				return n, nil, err
			}
		}
	}
	return n, nil, flush()
}
