package capture

import (
	"context"
	"errors"
	"fmt"
	"math"

	"evenpole/capture/record"
	"evenpole/jig"
)

// maxCount is the most takes that one command asks for: well below the 256
// readings that a jig keeps, so that a gap can still be asked for afterwards.
const maxCount = 64

// Run captures what is on the jig into the shop's record: of each string the
// quiet level first, then its takes, until enough are good; or field readings.
// Takes that the jig flagged, that are not above the quiet level, or that were
// lost are made again, up to a bound.
//
// The same purpose and mount is the same session. One that is not complete is
// resumed, and nothing counts twice; one that is complete stays as it is. A
// session is complete when the record has enough good takes of every string:
// good is a take that has no flag, was not retracted and is above its quiet
// level. What the jig still holds of the power-up that the record knows is
// fetched first and filed by who commanded it.
//
// The Result tells how far the capture got, with an error too. Errors: a
// *SetupError when the options do not fit, before the jig is asked for
// anything; a *RowError when the record cannot be read; from then on a
// *StoppedError, around what ctx, the conversation or the disk had to say,
// ErrStopped, or the reasons why a string gave too few good takes.
func Run(ctx context.Context, shop *record.Writer, conn Conn, opt Options) (*Result, error) {
	opt = opt.withDefaults()
	r := &run{shop: shop, conn: conn, opt: opt, ident: conn.Ident(), result: &Result{}}
	var err error
	if r.steps, err = opt.steps(r.ident); err != nil {
		return r.result, err
	}
	if err := r.look(); err != nil {
		return r.result, err
	}
	err = r.work(ctx)
	r.result.Complete = len(r.result.Missing()) == 0
	if err != nil {
		err = &StoppedError{r.result.Session, r.result.Missing(), err}
	}
	return r.result, err
}

// run is one capture under way.
type run struct {
	shop   *record.Writer
	conn   Conn
	opt    Options
	ident  jig.Ident
	mount  string // name of its copy
	steps  []step
	holds  record.Holds
	seen   map[uint32]bool     // what the record has of the jig's power-up
	power  map[int]float64     // by string, the sum of rms² of good quiet windows, mV²
	index  map[record.Slot]int // of result.Tallies
	result *Result
}

// look finds out which session this is and how far it has got.
func (r *run) look() (err error) {
	if r.mount, err = record.MountName(r.opt.Mount); err != nil {
		return err
	}
	if r.holds, err = r.shop.Holds(); err != nil {
		return err
	}
	if !r.opt.Again {
		r.result.Session = r.holds.Latest(r.opt.Purpose, r.opt.kind(), r.mount)
	}
	h, err := r.shop.History(r.ident.Jig, r.ident.Boot.String(), r.result.Session)
	if err != nil {
		return err
	}
	r.seen = h.Seen
	r.result.Resumed = r.result.Session != ""
	if !r.result.Resumed {
		r.result.Session = record.SessionID(h.LastSession + 1)
	}
	r.power, r.index = map[int]float64{}, map[record.Slot]int{}
	for i, s := range r.steps {
		r.index[s.Slot] = i
		r.result.Tallies = append(r.result.Tallies, Tally{Mode: s.Mode, Number: s.Number, Wanted: s.wanted, Refused: map[string]int{}})
	}
	for _, t := range h.Takes {
		r.count(t)
	}
	return nil
}

// count counts a good take.
func (r *run) count(t record.Take) {
	if !t.Good {
		return
	}
	if i, ok := r.index[t.Slot]; ok {
		r.result.Tallies[i].Good++
	}
	if t.Mode == record.Quiet {
		r.power[t.Number] += t.RMS * t.RMS
	}
}

// quiet returns the quiet level of a string in mV, to the microvolt: the root
// of the mean square of the session's good quiet windows, NaN before the first.
func (r *run) quiet(number int) float64 {
	i, ok := r.index[record.Slot{Mode: record.Quiet, Number: number}]
	if !ok || r.result.Tallies[i].Good == 0 {
		return math.NaN()
	}
	return math.Round(1000*math.Sqrt(r.power[number]/float64(r.result.Tallies[i].Good))) / 1000
}

func (r *run) work(ctx context.Context) error {
	if r.result.Already = len(r.result.Missing()) == 0; r.result.Already {
		return nil
	}
	if err := r.shop.KeepMount(r.mount, r.opt.Mount); err != nil {
		return err
	}
	if err := r.fetchTail(ctx); err != nil {
		return err
	}
	if len(r.result.Missing()) == 0 {
		return r.letGo()
	}
	if err := r.hold(r.newest()); err != nil {
		return err
	}
	for i := range r.steps {
		if err := r.fill(ctx, r.steps[i], &r.result.Tallies[i]); err != nil {
			return err
		}
	}
	return r.letGo()
}

// letGo notes in sessions.csv that what the jig makes from here on is nobody's:
// somebody may take it to another shop before it is switched off.
func (r *run) letGo() error {
	return r.note(record.Hold{Time: r.opt.Now(), Jig: r.ident.Jig, Boot: r.ident.Boot.String(), AfterSeq: r.newest()})
}

// hold notes in sessions.csv that what the jig makes from here on is ours.
func (r *run) hold(after uint32) error {
	return r.note(record.Hold{
		Time:     r.opt.Now(),
		Session:  r.result.Session,
		Purpose:  r.opt.Purpose,
		Kind:     r.opt.kind(),
		Jig:      r.ident.Jig,
		Boot:     r.ident.Boot.String(),
		AfterSeq: after,
		Pickup:   r.opt.Mount.Pickup,
		Mount:    r.mount,
	})
}

func (r *run) note(h record.Hold) error {
	r.holds = append(r.holds, h)
	return r.shop.AddHold(h)
}

// fill has takes made until there are enough good ones.
func (r *run) fill(ctx context.Context, s step, t *Tally) error {
	limit := r.opt.MaxPlucks
	if limit == 0 {
		limit = 3*s.wanted + 5
	}
	for t.Good < s.wanted {
		if err := r.wanted(ctx); err != nil {
			return err
		}
		if t.Made >= limit {
			return fmt.Errorf("%v: too few good takes after %d made%s", s.Slot, t.Made, t.reasons())
		}
		out, err := r.conn.Do(ctx, s.command(min(s.wanted-t.Good, maxCount, limit-t.Made)), r.live())
		t.Made += max(out.Got+out.Lost, 1)
		r.result.Lost += out.Lost
		t.Refused[wasLost] += out.Lost
		if err := r.goOn(ctx, err, t); err != nil {
			return err
		}
	}
	return nil
}

// goOn deals with an error of a command after which a capture can go on.
func (r *run) goOn(ctx context.Context, err error, t *Tally) error {
	var restarted *jig.RestartError
	var refused *jig.CommandError
	switch {
	case errors.As(err, &restarted):
		t.Refused[restart]++
		return r.restart(ctx)
	case errors.As(err, &refused) && refused.Code == jig.Mechanical:
		t.Refused[broke]++
		return nil
	}
	return err
}

// live keeps what the jig makes at our command, until there shall be no more: the
// take that was under way when that was said is the last one. So it is asked
// before a take is kept, which takes a while in which the next one begins.
func (r *run) live() jig.Sink {
	last := func(keep func() error) error {
		stopped := r.stopped()
		if err := keep(); err != nil {
			return err
		}
		if len(r.result.Missing()) == 0 {
			return nil
		}
		return stopped
	}
	return jig.Sink{
		Reading: func(x jig.Reading) error { return last(func() error { return r.keep(x, r.result.Session) }) },
		Field:   func(x jig.Field) error { return last(func() error { return r.keepField(x, r.result.Session) }) },
	}
}

// wanted returns why there shall be no more takes, or nil.
func (r *run) wanted(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	return r.stopped()
}

func (r *run) stopped() error {
	select {
	case <-r.opt.Stop:
		return ErrStopped
	default:
		return nil
	}
}
