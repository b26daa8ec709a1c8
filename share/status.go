package share

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"maps"
	"slices"

	"evenpole/capture/record"
	"evenpole/profiles"
)

// Standing is how far a stream is here and in the shared record.
type Standing struct {
	Bench  string `json:"bench"`
	Stream Stream `json:"stream"`
	Here   int64  `json:"here"`
	There  int64  `json:"there"`
	Ahead  int64  `json:"ahead"`  // here and not there: they wait to be pushed
	Behind int64  `json:"behind"` // there and not here: they wait to be pulled
}

// Status is how far a bench is ahead of the shared record and behind it.
type Status struct {
	Bench   string     `json:"bench"`
	Where   string     `json:"where"`
	Streams []Standing `json:"streams"`
	Ahead   int64      `json:"ahead"`
	Behind  int64      `json:"behind"`
	Held    bool       `json:"held_back"`
	Clashes []Clash    `json:"names_in_question"`
	Notes   []string   `json:"notes"`
}

// Status compares what is here with what is in the shared record, by numbers: what the
// entries say is compared by Exchange and Verify. Of the shop's own files nothing is
// changed, and nothing is pushed or pulled.
func (b *Bench) Status(ctx context.Context, c Carrier) (*Status, error) {
	release, err := b.takeTurn()
	if err != nil {
		return nil, err
	}
	defer release()
	r := &Report{}
	if err := b.refresh(r); err != nil {
		return nil, err
	}
	heads, err := c.Heads(ctx)
	if err != nil {
		return nil, err
	}
	st := &Status{Bench: b.Bench, Where: where(b.Folder), Streams: []Standing{}, Clashes: []Clash{}, Notes: append([]string{}, r.Passed...)}
	all, err := b.replicas(heads)
	if err != nil {
		return nil, err
	}
	for _, x := range all {
		for _, s := range Streams() {
			here, held, err := x.count(s)
			if err != nil {
				return nil, err
			}
			there := heads[x.bench].Of(x.bench, s).N
			st.Held = st.Held || held
			st.add(b, x, Standing{Bench: x.bench, Stream: s, Here: here, There: there}, held)
		}
	}
	view, err := b.View(ctx)
	if err != nil {
		return nil, err
	}
	st.Clashes = append(st.Clashes, view.Clashes...)
	return st, nil
}

// add notes how far a stream is. Of a stream that is held back, what is there and not
// certain here is no difference.
func (st *Status) add(b *Bench, x *replica, s Standing, held bool) {
	switch own := x.bench == b.Bench; {
	case own && s.Here > s.There:
		s.Ahead = s.Here - s.There
	case own && s.Here < s.There && !held:
		st.Notes = append(st.Notes, (&DivergedError{s.Bench, s.Stream, s.Here + 1, true}).Error())
	case !own && s.Here < s.There:
		s.Behind = s.There - s.Here
	case !own && s.Here > s.There:
		st.Notes = append(st.Notes, Fault{s.Bench, s.Stream, s.There + 1, fmt.Sprintf("the shared record lacks %s that this bench pulled before", profiles.Count(int(s.Here-s.There), "entry"))}.String())
	}
	if s.Here+s.There > 0 {
		st.Streams = append(st.Streams, s)
	}
	st.Ahead, st.Behind = st.Ahead+s.Ahead, st.Behind+s.Behind
}

// replicas are the bench's own streams and the copies of all others that are here or have
// heads, by name.
func (b *Bench) replicas(heads map[string]Heads) ([]*replica, error) {
	others, err := b.others()
	if err != nil {
		return nil, err
	}
	all := map[string]*replica{b.Bench: b.own()}
	for _, x := range others {
		all[x.bench] = x
	}
	for bench := range heads {
		if all[bench] == nil && CheckBench(bench) == nil {
			all[bench] = b.other(bench)
		}
	}
	var out []*replica
	for _, bench := range slices.Sorted(maps.Keys(all)) {
		out = append(out, all[bench])
	}
	return out, nil
}

// count counts the entries of a stream; held says that there may be more.
func (r *replica) count(s Stream) (n int64, held bool, err error) {
	for _, err := range r.cells(s) {
		if errors.Is(err, errHeld) {
			return n, true, nil
		}
		if err != nil {
			return n, false, err
		}
		n++
	}
	return n, false, nil
}

// Audit is what Verify went through.
type Audit struct {
	Bench   string  `json:"bench"`
	Benches int     `json:"benches"`
	Entries int64   `json:"entries"`
	Faults  []Fault `json:"faults"`
}

// Verify reads the whole shared record, and compares each entry with the chain of those
// before it and with what is here. It writes nothing.
func (b *Bench) Verify(ctx context.Context, c Carrier) (*Audit, error) {
	heads, err := c.Heads(ctx)
	if err != nil {
		return nil, err
	}
	a := &Audit{Bench: b.Bench, Faults: []Fault{}}
	all, err := b.replicas(heads)
	if err != nil {
		return nil, err
	}
	for _, x := range all {
		a.Benches++
		for _, s := range Streams() {
			fault, err := a.verify(ctx, c, x, s, x.bench == b.Bench)
			if err != nil {
				return nil, err
			}
			if fault != nil {
				a.Faults = append(a.Faults, *fault)
			}
		}
	}
	faults, err := c.Scan(ctx)
	for _, f := range faults {
		if !slices.ContainsFunc(a.Faults, func(known Fault) bool { return known.Bench == f.Bench && known.Stream == f.Stream && known.N <= f.N }) {
			a.Faults = append(a.Faults, f)
		}
	}
	return a, err
}

// verify reads one stream to its end, or to its first fault.
func (a *Audit) verify(ctx context.Context, c Carrier, x *replica, s Stream, own bool) (*Fault, error) {
	next, stop := iter.Pull2(x.entries(s))
	defer stop()
	head := Start(x.bench, s)
	for e, err := range c.Read(ctx, x.bench, s, 0) {
		if err != nil {
			return nil, err
		}
		if err := record.TellRow(ctx, x.bench+" "+string(s), int(e.N)); err != nil {
			return nil, err
		}
		a.Entries++
		want := head.Next(e.Cells)
		here, err, ok := next()
		switch {
		case err != nil && !errors.Is(err, errHeld):
			return nil, err
		case e.N != want.N:
			return &Fault{x.bench, s, want.N, "it is gone from the shared record"}, nil
		case ok && err == nil && here.Cells != e.Cells:
			return &Fault{x.bench, s, e.N, "the shared record says otherwise than " + whose(own) + ": one of them was altered"}, nil
		case e.Chain != want.Chain:
			return &Fault{x.bench, s, e.N, "it was altered in the shared record: it is not what its chain stands for"}, nil
		}
		head = want
	}
	if _, err, ok := next(); ok && err == nil && !own {
		return &Fault{x.bench, s, head.N + 1, "entries from here on are gone from the shared record, and stand in the copy here"}, nil
	}
	return nil, nil
}

func whose(own bool) string {
	if own {
		return "this bench's own record"
	}
	return "the copy here"
}
