package capture

import (
	"math"

	"evenpole/capture/record"
	"evenpole/jig"
)

// run is the state of one capture: which session it is, how far that has got, and
// what the record has of the jig's power-up.
type run struct {
	shop   *record.Writer
	conn   Conn
	opt    Options
	ident  jig.Ident
	mount  string // the name of the shop's copy of it
	steps  []step
	holds  record.Holds
	seen   map[uint32]bool          // the sequence numbers of the power-up that the record has
	heard  map[int]bool             // strings whose pitch was compared with their notes
	power  map[int]float64          // by string, the sum of rms² of good quiet windows, mV²
	index  map[record.TakeGroup]int // of result.Tallies
	levels [][]float64              // of good takes by step, RMS mV; for Options.Until
	result *Result

	relative bool // levels of the session are in no known unit
}

// findSession finds out which session this is and how far it has got.
func (r *run) findSession() error {
	if err := r.readHolds(); err != nil {
		return err
	}
	session := ""
	if !r.opt.Again {
		session = r.holds.Latest(r.opt.Purpose, r.opt.Kind(), r.mount)
	}
	return r.resumeSession(session)
}

// readHolds reads who commanded what before, and finds out who captures.
func (r *run) readHolds() (err error) {
	if r.mount, err = record.MountName(r.opt.Mount); err != nil {
		return err
	}
	if r.holds, err = r.shop.Holds(); err != nil {
		return err
	}
	switch r.opt.Operator {
	case "":
		r.result.Operator = r.holds.LastOperator()
	case Nobody:
	default:
		r.result.Operator = r.opt.Operator
	}
	return nil
}

// resumeSession finds out how far a session has got, or begins one for "".
func (r *run) resumeSession(session string) error {
	r.result.Session = session
	h, err := r.shop.History(r.ident.Jig, r.ident.Boot.String(), r.result.Session)
	if err != nil {
		return err
	}
	r.seen, r.relative = h.Seen, h.Relative
	r.result.Resumed = r.result.Session != ""
	if !r.result.Resumed {
		r.result.Session = record.SessionID(h.LastSession + 1)
	}
	r.heard, r.power, r.index = map[int]bool{}, map[int]float64{}, map[record.TakeGroup]int{}
	r.levels = make([][]float64, len(r.steps))
	for i, s := range r.steps {
		r.index[s.TakeGroup] = i
		t := Tally{Mode: s.Mode, Number: s.Number, Wanted: s.wanted, Refused: map[string]int{}}
		if magnets := r.opt.Mount.Magnets; s.Mode == record.Probe && s.Number <= len(magnets) {
			t.Magnet = magnets[s.Number-1]
		}
		r.result.Tallies = append(r.result.Tallies, t)
		if r.until(i) {
			r.result.Tallies[i].Wanted = leastTakes
		}
	}
	for _, t := range h.Takes {
		r.count(t)
	}
	for i := range r.steps { // what was told of a string before all of those before it were
		r.judge(i)
	}
	return nil
}

// count counts a good take.
func (r *run) count(t record.Take) {
	if !t.Good {
		return
	}
	if t.Mode == record.Quiet {
		r.power[t.Number] += t.RMS * t.RMS
	}
	if i, ok := r.index[t.TakeGroup]; ok {
		x := &r.result.Tallies[i]
		x.Good++
		x.Field += (t.Field - x.Field) / float64(x.Good)
		r.levels[i] = append(r.levels[i], t.RMS)
		r.judge(i)
	}
}

// quietLevel returns the quiet level of a string in mV, to the microvolt: the root
// of the mean square of the session's good quiet windows, NaN before the first.
func (r *run) quietLevel(number int) float64 {
	i, ok := r.index[record.TakeGroup{Mode: record.Quiet, Number: number}]
	if !ok || r.result.Tallies[i].Good == 0 {
		return math.NaN()
	}
	return math.Round(1000*math.Sqrt(r.power[number]/float64(r.result.Tallies[i].Good))) / 1000
}

// newest returns the last sequence number that the jig is known to have used.
// The record may hold a later one than the conversation knows, if an earlier capture
// had the same conversation.
func (r *run) newest() uint32 {
	last := r.conn.Last()
	for seq := range r.seen {
		if record.Later(seq, last) {
			last = seq
		}
	}
	return last
}

// keepMount keeps a copy of the mount, once it is known that the record can say all of it.
func (r *run) keepMount() error {
	if r.opt.Kind() == record.OfReadings {
		if err := r.shop.Accepts(r.opt.Mount); err != nil {
			return err
		}
	}
	return r.shop.KeepMount(r.mount, r.opt.Mount)
}

// endHold adds a hold without a session: what the jig makes from here on was not
// commanded by this shop. Somebody may take the jig to another one before it is
// switched off.
func (r *run) endHold() error {
	return r.addHold(record.Hold{Time: r.opt.Now(), Jig: r.ident.Jig, Boot: r.ident.Boot.String(), AfterSeq: r.newest()})
}

// beginHold adds a hold: what the jig makes after a sequence number is commanded by
// this session.
func (r *run) beginHold(after uint32) error {
	return r.addHold(record.Hold{
		Time:     r.opt.Now(),
		Session:  r.result.Session,
		Purpose:  r.opt.Purpose,
		Kind:     r.opt.Kind(),
		Jig:      r.ident.Jig,
		Boot:     r.ident.Boot.String(),
		AfterSeq: after,
		Pickup:   r.opt.Mount.Pickup,
		Mount:    r.mount,
		Operator: r.result.Operator,
	})
}

func (r *run) addHold(h record.Hold) error {
	r.holds = append(r.holds, h)
	return r.shop.AddHold(h)
}
