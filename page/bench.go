package page

import (
	"context"
	"errors"
	"io"
	"sync"
	"time"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/shop"
)

// What a capture is at, in the words that the page shows.
const (
	idle      = "no capture"
	reaching  = "reaching the jig"
	capturing = "capturing"
	pausing   = "finishing this take"
	paused    = "paused"
	lost      = "jig lost"
	complete  = "complete"
	ended     = "stopped"
)

// bench runs one capture at a time. It belongs to the server: a page that goes away does
// not stop it. Who started it holds the jig; all others watch.
type bench struct {
	shop *shop.Shop
	now  func() time.Time
	open func(port string) (io.ReadWriteCloser, error)
	wait time.Duration // between two looks for a jig that was lost

	mu       sync.Mutex
	job      *job
	holder   string
	state    string
	words    string // why it is so
	jig      string
	operator string        // who captures; "" where nobody is named
	live     *shop.Live    // the job as it goes; nil without one
	stop     chan struct{} // closed: finish the take and stop; nil while nothing runs
	done     chan struct{} // closed when what runs has ended
	watchers map[chan struct{}]bool
}

func newBench(of *shop.Shop, now func() time.Time, open func(string) (io.ReadWriteCloser, error), wait time.Duration) *bench {
	return &bench{shop: of, now: now, open: open, wait: wait, state: idle, watchers: map[chan struct{}]bool{}}
}

var (
	errHeld = &refused{"another browser holds the jig: this one watches, unless it takes over"}
	errBusy = &refused{"a capture is running: pause it first"}
	errNone = &refused{"no capture was started"}
)

// start starts a capture for a holder.
func (b *bench) start(j *job, holder string) error {
	if !j.form.Same {
		if err := b.shop.SamePickup(j.opt.Mount, j.opt.Purpose, record.OfReadings, j.opt.Again); err != nil {
			return err
		}
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case b.stop != nil && b.holder != holder:
		return errHeld
	case b.stop != nil:
		return errBusy
	}
	b.job, b.holder = j, holder
	b.jig, b.operator, b.live = "", "", shop.NewLive(j.opt.Mount)
	b.begin()
	return nil
}

// begin runs the job that is set; b.mu is held.
func (b *bench) begin() {
	b.stop, b.done = make(chan struct{}), make(chan struct{})
	b.live.Rest()
	b.set(reaching, "")
	go b.run(*b.job, b.stop, b.done)
}

// set changes the state and tells who watches; b.mu is held.
func (b *bench) set(state, words string) {
	b.state, b.words = state, words
	b.tell()
}

// tell tells who watches that something changed; b.mu is held. A page that is slow
// misses what was between, and sees how it is now.
func (b *bench) tell() {
	for w := range b.watchers {
		select {
		case w <- struct{}{}:
		default:
		}
	}
}

// locked does something to the bench.
func (b *bench) locked(do func()) {
	b.mu.Lock()
	defer b.mu.Unlock()
	do()
}

// holds refuses who does not hold the jig; b.mu is held.
func (b *bench) holds(holder string) error {
	switch {
	case b.job == nil:
		return errNone
	case b.holder != holder:
		return errHeld
	}
	return nil
}

// pause lets the take under way finish, and stops.
func (b *bench) pause(holder string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.holds(holder); err != nil || b.stop == nil {
		return err
	}
	b.halt()
	return nil
}

// halt asks what runs to stop; b.mu is held.
func (b *bench) halt() {
	if b.state != pausing {
		close(b.stop)
		b.set(pausing, "")
	}
}

// goOn goes on with a capture that was paused or stopped.
func (b *bench) goOn(holder string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.holds(holder); err != nil || b.stop != nil || b.state == complete {
		return err
	}
	b.begin()
	return nil
}

// takeOver gives the jig to another holder.
func (b *bench) takeOver(holder string) {
	b.locked(func() {
		b.holder = holder
		b.tell()
	})
}

// takeBack takes the last take back. A capture that runs finishes the take that it is
// at, and goes on afterwards.
func (b *bench) takeBack(ctx context.Context, holder string) error {
	b.mu.Lock()
	err := b.holds(holder)
	var id *record.ID
	if err == nil {
		id = b.live.Last()
	}
	running, done := b.stop != nil, b.done
	if err == nil && id == nil {
		err = &refused{"there is no take to take back"}
	}
	if err == nil && running {
		b.halt()
	}
	b.mu.Unlock()
	if err != nil {
		return err
	}
	if running {
		select {
		case <-done:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	if err := b.retract(*id); err != nil {
		return err
	}
	return b.afterwards(ctx, running, holder)
}

// retract takes a reading back.
func (b *bench) retract(id record.ID) error {
	w, err := record.OpenWriter(b.shop.Dir())
	if err != nil {
		return err
	}
	_, err = w.Retract(record.Target{Jig: id.Jig, Boot: id.Boot, Seq: id.Seq}, "taken back at the bench", b.now())
	return errors.Join(err, w.Close())
}

// afterwards shows the record without what was taken back, and goes on with what ran.
func (b *bench) afterwards(ctx context.Context, running bool, holder string) error {
	var session string
	b.locked(func() { session = b.live.Session })
	rows, err := b.shop.SessionRows(ctx, session)
	if err != nil {
		return err
	}
	b.locked(func() {
		b.live.TookBack(rows)
		if b.state == complete {
			b.state = paused
		}
		b.set(b.state, "the last take was taken back")
	})
	if running {
		return b.goOn(holder)
	}
	return nil
}

// run captures until the job is complete, is stopped, or cannot go on. A jig that was
// there and is lost is looked for until it is back.
func (b *bench) run(j job, stop, done chan struct{}) {
	ctx := context.Background() // no page ends it
	defer close(done)
	met := false
	for {
		err := b.once(ctx, &j, stop, &met)
		if !met || !isLost(err) || isClosed(stop) {
			b.locked(func() { b.end(err) })
			return
		}
		b.locked(func() { b.set(lost, err.Error()) })
		select {
		case <-time.After(b.wait):
		case <-stop:
		}
		if isClosed(stop) {
			b.locked(func() { b.end(capture.ErrStopped) })
			return
		}
	}
}

func isClosed(c chan struct{}) bool {
	select {
	case <-c:
		return true
	default:
		return false
	}
}

// isLost reports whether a capture ended because its jig or its port is gone, which may
// come back.
func isLost(err error) bool {
	return errors.Is(err, jig.ErrUnplugged) || errors.Is(err, jig.ErrSilent) || errors.Is(err, jig.ErrNoPort) || errors.Is(err, jig.ErrPortBusy)
}

// end says how a run ended; b.mu is held.
func (b *bench) end(err error) {
	b.stop = nil
	switch {
	case err == nil:
		b.set(complete, "")
	case errors.Is(err, capture.ErrStopped):
		b.set(paused, "")
	default:
		b.set(ended, err.Error())
	}
}

// once reaches the jig and captures, as 'capture' does.
func (b *bench) once(ctx context.Context, j *job, stop chan struct{}, met *bool) (err error) {
	dir := b.shop.Dir()
	w, conn, err := capture.Open(shop.HasRecord(dir), func() (*record.Writer, error) { return record.OpenWriter(dir) }, func() (*jig.Conn, error) { return b.attach(ctx, j) })
	if w != nil {
		defer func() { err = errors.Join(err, w.Close()) }()
	}
	if err != nil {
		return err
	}
	defer conn.Close()
	*met = true
	b.locked(func() { b.jig = conn.Ident().Jig })
	opt := j.opt
	opt.Stop, opt.Started, opt.Progress = stop, func(r *capture.Result) { b.started(ctx, j, r) }, b.landed
	_, err = capture.Run(ctx, w, conn, opt)
	return err
}

func (b *bench) attach(ctx context.Context, j *job) (*jig.Conn, error) {
	port, err := b.open(j.form.Port)
	if err != nil {
		return nil, err
	}
	return jig.Attach(ctx, port, j.form.Port, jig.Options{})
}

// started shows how far a session has got. From here on it is gone on with, not begun
// again.
func (b *bench) started(ctx context.Context, j *job, r *capture.Result) {
	rows, err := b.shop.RowsBefore(ctx, r)
	j.opt.Again = false
	b.locked(func() {
		b.job.opt.Again = false
		b.operator = r.Operator
		b.live.Begun(r, rows)
		words := ""
		if err != nil {
			words = err.Error()
		}
		if b.state != pausing {
			b.set(capturing, words)
		}
	})
}

// landed shows a take that was kept.
func (b *bench) landed(p capture.Progress) {
	b.locked(func() {
		b.live.Landed(p, b.now())
		b.tell()
	})
}

// capturing reports whether a pickup is being captured.
func (b *bench) capturing(pickup string) (is bool) {
	b.locked(func() { is = b.stop != nil && b.job.opt.Mount.Pickup == pickup })
	return is
}

// busy reports whether a capture is running.
func (b *bench) busy() (is bool) {
	b.locked(func() { is = b.stop != nil })
	return is
}

// lastForm is the form of the job, as it was filled in; nil without one.
func (b *bench) lastForm() (f *captureForm) {
	b.locked(func() {
		if b.job != nil {
			filled := b.job.form
			filled.Again, filled.Same, filled.Mounted = false, false, false // said of that capture alone
			f = &filled
		}
	})
	return f
}

// watch returns what hears of changes until forget is called.
func (b *bench) watch() (changed chan struct{}, forget func()) {
	changed = make(chan struct{}, 1)
	changed <- struct{}{}
	b.locked(func() { b.watchers[changed] = true })
	return changed, func() { b.locked(func() { delete(b.watchers, changed) }) }
}

// finish stops what runs, for the end of the server, and waits for it.
func (b *bench) finish() {
	b.mu.Lock()
	running, done := b.stop != nil, b.done
	if running {
		b.halt()
	}
	b.mu.Unlock()
	if running {
		<-done
	}
}
