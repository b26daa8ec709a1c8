package record

import (
	"iter"
	"maps"
	"slices"

	"evenpole/capture/record/numbers"
	"evenpole/capture/record/pack"
)

// ID names a reading: what one jig sent in one power-up under one number.
type ID struct {
	Jig, Boot string
	Seq       uint32
}

// A Row is a row of either file of the record.
type Row interface {
	// ID names the row's reading; ok is false for a row without boot or seq, which
	// is a reading of its own.
	ID() (id ID, ok bool)
	state() Status
}

// ID names the reading.
func (r *Reading) ID() (ID, bool) { return ID{r.Jig, r.Boot, r.Seq}, r.HasSeq && r.Boot != "" }

// ID names the field reading.
func (r *FieldReading) ID() (ID, bool) { return ID{r.Jig, r.Boot, r.Seq}, r.HasSeq && r.Boot != "" }

func (r *Reading) state() Status      { return r.Status }
func (r *FieldReading) state() Status { return r.Status }

// Reason says why a row does not count. A flagged take has its status for a
// reason.
type Reason string

// The reasons, but for the statuses.
const (
	Counts    Reason = "" // none
	Repeated  Reason = "stands twice"
	TakenBack Reason = "taken back"
	TakesBack Reason = "takes another back"
)

// Standing decides which rows of a record count; its callers drop the others. Give
// every row to Meet, in the order of one file or of several. Meet answers at once, but
// for whether a later row takes this one back: ask IsTakenBack when all rows were met.
//
// The first row of a reading counts, and a repeated one does not. A row of status
// retracted takes the reading back, whatever session it names. A later row of the same
// reading counts in its place, as when a capture is filed anew. A retraction that
// follows no row of its reading, since files were given in another order, takes back
// every later row of it.
//
// Memory grows with the power-ups of jigs, the gaps in their numbers and the
// readings that were taken back, not with rows.
type Standing struct {
	powers map[powerUp]*powerUpState
	order  []*powerUpState // by Ref.power
	last   powerUp         // of the row that was met last
	newest *powerUpState   // likewise
}

// powerUp is one power-up of one jig.
type powerUp struct{ jig, boot string }

// powerUpState is what was met of one power-up.
type powerUpState struct {
	index int32 // in Standing.order, from 1
	seen  numbers.Set
	back  map[uint32]*retracted // by number
	backs int                   // rows that took back
}

// retracted is a reading that was taken back.
type retracted struct {
	times  int  // how often
	stands bool // a later row stands in its place
	always bool // no row of it stood above
	newest int  // which of the rows that took back was its last, from 1
}

// Ref is a row that a Standing has met. The zero value is a row without a name.
type Ref struct {
	power  int32 // in Standing.order, from 1
	before int32 // how often the reading had been taken back
	seq    uint32
}

// Meet takes note of the next row. It returns why the row does not count, but for
// TakenBack, which [Standing.IsTakenBack] tells at the end.
func (s *Standing) Meet(row Row) (Ref, Reason) {
	id, named := row.ID()
	status := row.state()
	if !named {
		if status == Retracted {
			return Ref{}, TakesBack
		}
		return Ref{}, flagged(status)
	}
	m := s.of(powerUp{id.Jig, id.Boot})
	ref := Ref{power: m.index, seq: id.Seq}
	if status == Retracted {
		m.takeBack(id.Seq)
		return ref, TakesBack
	}
	if b := m.back[id.Seq]; b != nil {
		ref.before = int32(b.times)
	}
	if !m.add(id.Seq) {
		return ref, Repeated
	}
	return ref, flagged(status)
}

// IsTakenBack reports whether a row was taken back by one that was met since.
func (s *Standing) IsTakenBack(ref Ref) bool {
	if ref.power == 0 {
		return false
	}
	b := s.order[ref.power-1].back[ref.seq]
	return b != nil && (b.always || b.times > int(ref.before))
}

// WillBeTakenBack reports whether a row of a reading that was met last is taken back by one
// that was met, or by one that follows, where so many rows of all take the reading back.
func (s *Standing) WillBeTakenBack(id ID, ref Ref, times int) bool {
	return s.NeverStands(id) || times > int(ref.before)
}

// Before reports whether a row has a name and another one comes before it in the same
// power-up of the same jig.
func (a Ref) Before(b Ref) bool { return a.power != 0 && a.power == b.power && a.seq < b.seq }

// SamePower reports whether two rows are of one power-up of one jig, or both have no name.
func (a Ref) SamePower(b Ref) bool { return a.power == b.power }

// TakenBack is how many rows have taken readings back so far of a row's power-up.
func (s *Standing) TakenBack(ref Ref) int {
	if ref.power == 0 {
		return 0
	}
	return s.order[ref.power-1].backs
}

// TakesBackSince reports whether a reading of the numbers from one row's to another's of
// the same power-up was taken back after so many others had been.
func (s *Standing) TakesBackSince(first, last Ref, others int) bool {
	if first.power == 0 || s.order[first.power-1].backs == others {
		return false
	}
	for seq, b := range s.order[first.power-1].back {
		if first.seq <= seq && seq <= last.seq && b.newest > others {
			return true
		}
	}
	return false
}

// Stands reports whether a row of a reading was met that counts so far.
func (s *Standing) Stands(id ID) bool {
	m := s.powers[powerUp{id.Jig, id.Boot}]
	if m == nil {
		return false
	}
	if b := m.back[id.Seq]; b != nil {
		return b.stands
	}
	return m.seen.Has(id.Seq)
}

// HasTakenBack reports whether a row was met that takes a reading back, whatever came
// after.
func (s *Standing) HasTakenBack(id ID) bool {
	m := s.powers[powerUp{id.Jig, id.Boot}]
	return m != nil && m.back[id.Seq] != nil
}

// NeverStands reports whether a reading was taken back above every row of it, so that
// none of them counts.
func (s *Standing) NeverStands(id ID) bool {
	m := s.powers[powerUp{id.Jig, id.Boot}]
	return m != nil && m.back[id.Seq] != nil && m.back[id.Seq].always
}

// of finds or adds a power-up.
func (s *Standing) of(p powerUp) *powerUpState {
	if p == s.last && len(s.order) > 0 {
		return s.newest
	}
	m := s.powers[p]
	if m == nil {
		if s.powers == nil {
			s.powers = map[powerUp]*powerUpState{}
		}
		m = &powerUpState{index: int32(len(s.order) + 1)}
		s.powers[p] = m
		s.order = append(s.order, m)
	}
	s.last, s.newest = p, m
	return m
}

// add puts a row's number in; false when a row of the reading stands.
func (m *powerUpState) add(seq uint32) bool {
	b := m.back[seq]
	if b == nil || b.always {
		return m.seen.Add(seq)
	}
	stood := b.stands
	b.stands = true
	return !stood
}

func (m *powerUpState) takeBack(seq uint32) {
	b := m.back[seq]
	if b == nil {
		if m.back == nil {
			m.back = map[uint32]*retracted{}
		}
		b = &retracted{always: !m.seen.Has(seq)}
		m.back[seq] = b
	}
	b.times++
	b.stands = false
	m.backs++
	b.newest = m.backs
}

// flagged is the reason of a row of some status.
func flagged(status Status) Reason {
	if status == "" || status == OK {
		return Counts
	}
	return Reason(status)
}

// Pack writes what was met, or reads it. What was read goes on as if it had met the rows
// itself.
func (s *Standing) Pack(c *pack.Coder) {
	names := make([]powerUp, len(s.order))
	for name, m := range s.powers {
		names[m.index-1] = name
	}
	pack.List(c, &names, func(p *powerUp) {
		pack.Text(c, &p.jig)
		pack.Text(c, &p.boot)
	})
	if c.Reading() {
		*s = Standing{}
		for _, name := range names {
			s.of(name)
		}
		c.Check(len(s.order) == len(names)) // none twice
	}
	for _, m := range s.order {
		m.pack(c)
	}
}

func (m *powerUpState) pack(c *pack.Coder) {
	m.seen.Pack(c)
	pack.Whole(c, &m.backs)
	numbers := slices.Sorted(maps.Keys(m.back))
	pack.List(c, &numbers, func(seq *uint32) {
		pack.Whole(c, seq)
		if c.Reading() {
			if m.back == nil {
				m.back = map[uint32]*retracted{}
			}
			m.back[*seq] = &retracted{}
		}
		m.back[*seq].pack(c)
	})
}

func (b *retracted) pack(c *pack.Coder) {
	pack.Whole(c, &b.times)
	c.Bool(&b.stands)
	c.Bool(&b.always)
	pack.Whole(c, &b.newest)
}

// PackRef writes a row that the standing has met, or reads it.
func (s *Standing) PackRef(c *pack.Coder, ref *Ref) {
	pack.Whole(c, &ref.power)
	pack.Whole(c, &ref.before)
	pack.Whole(c, &ref.seq)
	if c.Check(0 <= ref.power && int(ref.power) <= len(s.order)); c.Damaged() {
		*ref = Ref{}
	}
}

// Sifted is a row with the reason why it does not count.
type Sifted[T any] struct {
	Row T
	Why Reason
}

// Sift reads rows to the end and returns those that are wanted, each with the reason
// why it does not count. nil wants all. The first error ends it.
func Sift[T any, P interface {
	*T
	Row
}](rows iter.Seq2[T, error], wanted func(*T) bool) ([]Sifted[T], error) {
	var s Standing
	var kept []Sifted[T]
	var refs []Ref
	for r, err := range rows {
		if err != nil {
			return nil, err
		}
		ref, why := s.Meet(P(&r))
		if wanted == nil || wanted(&r) {
			kept, refs = append(kept, Sifted[T]{r, why}), append(refs, ref)
		}
	}
	for i, ref := range refs {
		if k := &kept[i]; k.Why != TakesBack && k.Why != Repeated && s.IsTakenBack(ref) {
			k.Why = TakenBack
		}
	}
	return kept, nil
}
