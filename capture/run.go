package capture

import (
	"context"
	"errors"
	"fmt"

	"evenpole/capture/record"
	"evenpole/jig"
)

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
// ErrStopped, a *PitchError, or the reasons why a string gave too few good takes.
func Run(ctx context.Context, shop *record.Writer, conn Conn, opt Options) (*Result, error) {
	if opt.Now == nil {
		opt.Now = clockOf(conn.Ident())
	}
	opt = opt.withDefaults()
	r := &run{shop: shop, conn: conn, opt: opt, ident: conn.Ident(), result: &Result{}}
	var err error
	if r.steps, err = opt.steps(r.ident); err != nil {
		return r.result, err
	}
	if err := r.findSession(); err != nil {
		return r.result, err
	}
	if r.opt.Started != nil {
		r.opt.Started(r.result)
	}
	err = r.work(ctx)
	r.result.Complete = len(r.result.Missing()) == 0
	if err != nil {
		err = &StoppedError{r.result.Session, r.result.Missing(), err}
	}
	return r.result, err
}

// work makes what is missing, if anything is.
func (r *run) work(ctx context.Context) error {
	if r.result.Already = len(r.result.Missing()) == 0; r.result.Already {
		return nil
	}
	if err := r.keepMount(); err != nil {
		return err
	}
	if err := r.fetchTail(ctx); err != nil {
		return err
	}
	if len(r.result.Missing()) == 0 {
		return r.endHold()
	}
	if err := r.beginHold(r.newest()); err != nil {
		return err
	}
	for i := range r.steps {
		if err := r.fill(ctx, i); err != nil {
			return err
		}
	}
	return r.endHold()
}

// fill has takes made until there are enough good ones.
func (r *run) fill(ctx context.Context, i int) error {
	s, t := r.steps[i], &r.result.Tallies[i]
	limit := r.opt.MaxPlucks
	if limit == 0 {
		limit = 3*s.wanted + 5
	}
	for t.Good < t.Wanted {
		if err := r.whyStop(ctx); err != nil {
			return err
		}
		if t.Made >= limit {
			return fmt.Errorf("%v: too few good takes after %d made%s", s.TakeGroup, t.Made, t.reasons())
		}
		out, err := r.conn.Do(ctx, s.command(min(r.ahead(i), maxCount, limit-t.Made)), r.sink())
		t.Made += max(out.Got+out.Lost, 1)
		r.result.Lost += out.Lost
		t.Refused[wasLost] += out.Lost
		if err := r.resume(ctx, err, t); err != nil {
			return err
		}
	}
	return nil
}

// resume deals with an error of a command after which a capture can go on; any other
// error it returns.
func (r *run) resume(ctx context.Context, err error, t *Tally) error {
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

// sink keeps what the jig makes at our command. Once the capture is to stop, the take
// under way is the last one: the sink asks before it keeps a take, as the jig begins
// the next one while that is written.
func (r *run) sink() jig.Sink {
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

// whyStop returns why no more takes shall be made, nil where they shall.
func (r *run) whyStop(ctx context.Context) error {
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
