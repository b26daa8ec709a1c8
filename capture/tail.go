package capture

import (
	"cmp"
	"context"
	"errors"
	"slices"

	"evenpole/capture/record"
	"evenpole/jig"
)

// reach is how far back in a power-up a capture looks for what the record
// lacks. A jig need not keep more than 256 readings, but may.
const reach = 4096

// fetchTail gets those readings of the jig's power-up that the record lacks. In a
// power-up of which the record knows nothing, nothing was commanded by this shop.
func (r *run) fetchTail(ctx context.Context) error {
	last := r.conn.Last()
	base, known := r.holds.First(r.ident.Jig, r.ident.Boot.String())
	for seq := range r.seen {
		if !known || record.Later(base, seq-1) {
			base, known = seq-1, true
		}
	}
	if !known {
		return nil
	}
	if record.Later(last-reach, base) {
		base = last - reach
	}
	for from := base + 1; !record.Later(from, last); from++ {
		if r.seen[from] {
			continue
		}
		to := from
		for to != last && !r.seen[to+1] {
			to++
		}
		if err := r.fetch(ctx, from, to); err != nil {
			return err
		}
		from = to
	}
	return nil
}

// restart goes on with a jig that has started again. What it has made since then was
// commanded by this capture, or by nobody.
func (r *run) restart(ctx context.Context) error {
	if err := r.conn.Reattach(ctx); err != nil {
		return err
	}
	r.result.Restarts++
	r.ident = r.conn.Ident()
	r.seen = map[uint32]bool{}
	if err := r.beginHold(0); err != nil {
		return err
	}
	last := r.conn.Last()
	if last == 0 {
		return nil
	}
	from := uint32(1)
	if record.Later(last-maxCount, from) {
		from = last - maxCount + 1 // no command of ours made more; the next capture looks at the rest
	}
	return r.fetch(ctx, from, last)
}

// fetch asks for readings from..to and files them in the order in which they
// were made, so that a string's quiet level comes before its takes. If the jig
// restarts meanwhile, the next command finds out.
func (r *run) fetch(ctx context.Context, from, to uint32) error {
	type item struct {
		after uint32 // how far after from
		keep  func() error
	}
	var items []item
	owner := func(seq uint32) string { return r.holds.Owner(r.ident.Jig, r.ident.Boot.String(), seq) }
	lost, err := r.conn.Recover(ctx, from, to, jig.Sink{
		Reading: func(x jig.Reading) error {
			items = append(items, item{x.Seq - from, func() error { return r.keep(x, owner(x.Seq)) }})
			return nil
		},
		Field: func(x jig.Field) error {
			items = append(items, item{x.Seq - from, func() error { return r.keepField(x, owner(x.Seq)) }})
			return nil
		},
	})
	slices.SortFunc(items, func(a, b item) int { return cmp.Compare(a.after, b.after) })
	before := r.result.Kept - r.result.Stray
	for _, it := range items {
		if err := it.keep(); err != nil {
			return err
		}
	}
	r.result.Recovered += r.result.Kept - r.result.Stray - before
	r.result.Lost += len(lost)
	var restarted *jig.RestartError
	if errors.As(err, &restarted) {
		return nil
	}
	return err
}
