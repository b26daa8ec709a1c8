// Package verify puts a jig through the line protocol, clause by clause of
// firmware-notes, and measures how good it is.
//
// Unlike the conversation of package jig it smooths nothing over: it sends each line once,
// and what comes is held against what the protocol says. [Start] finds out who is there;
// [Run.Plan] says what will move before anything does; [Run.Go] goes through the clauses.
//
// The way through the package, in the order in which data flow:
//
//   - report.go: what comes of a run ([Report], [Finding], [Plan]).
//   - session.go: bytes to lines, commands and what came of them (session, talk), and what
//     is watched in every line.
//   - identity.go: a clause, and those of IDENT, of S lines and of every line (clause).
//   - takes.go, resend.go, queue.go, lines.go, restart.go: the other clauses.
//   - measure.go: time, scatter and quiet level, and what they mean ([Measured]).
//   - verify.go: the run.
package verify

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"

	"evenpole/jig"
)

// Options says how a run goes.
type Options struct {
	Name        string // of the port, for errors and the report
	Quick       bool   // leave out filling the jig's store, which takes some 200 quiet windows
	Restart     Restart
	ToleranceDB float64 // that the scatter is held against; 0: 1 dB
	FirstID     uint32  // of commands; 0: random
	Each        func(Finding)
}

// Run is a run with one jig.
type Run struct {
	opt Options
	s   *session
	end context.CancelFunc
}

// Start finds out which jig is behind a port, which is closed by Close. Nothing moves.
// Errors are *jig.PortError, or that of ctx.
func Start(ctx context.Context, port io.ReadWriteCloser, opt Options) (*Run, error) {
	if opt.ToleranceDB == 0 {
		opt.ToleranceDB = 1
	}
	if opt.FirstID == 0 {
		opt.FirstID = 1 + rand.Uint32N(1<<30)
	}
	own, cancel := context.WithCancel(context.WithoutCancel(ctx)) // to the jig's STOP, and no farther
	r := &Run{opt, newSession(own, port, opt.FirstID), cancel}
	if err := r.s.arrive(ctx); err != nil {
		r.Close()
		return nil, r.failure(ctx, err)
	}
	return r, nil
}

// failure names the port in an error.
func (r *Run) failure(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return &jig.PortError{Port: r.opt.Name, Err: err}
}

// Close ends what the jig may still be at, as well as can be, and closes the port.
func (r *Run) Close() {
	stop := jig.Command{ID: r.s.id(), Verb: jig.VerbStop}
	_ = r.s.push(string(stop.AppendLine(nil))) // the port may be lost
	r.end()
	go r.s.port.Close() // on its own: a port may not let go at once
}

// Jig is what the jig said of itself.
func (r *Run) Jig() Identity {
	id := r.s.ident
	return Identity{id.Jig, id.Boot.String(), id.Firmware, id.Strings, float64(id.FullScaleUV) / 1000, id.Excite}
}

// Plan is what will move, at most. A jig is asked for no more than that.
func (r *Run) Plan() Plan {
	p := Plan{FieldTakes: 2}
	if r.s.ident.Excite == jig.Drive {
		p.DriveWindows, p.Plucks = takes, 1 // the one pluck is to be refused
	} else {
		p.Plucks, p.DriveWindows = takes+r.s.ident.Strings-1, 1 // and here the driven window
	}
	return p
}

// Go goes through all clauses. A clause that fails does not end it; the loss of the port does.
func (r *Run) Go(ctx context.Context) (*Report, error) {
	m := &sample{}
	rep := &Report{Port: r.opt.Name, Jig: r.Jig(), Planned: r.Plan(), Findings: []Finding{}, Failed: []string{}, Skipped: []string{}}
	parts := [][]clause{identityClauses, takeClauses(m), resendClauses, queueClauses, lineClauses, {storeClause(r.opt.Quick)}}
	for _, c := range slices.Concat(parts...) {
		if err := r.look(ctx, rep, c); err != nil {
			return rep, err
		}
	}
	rep.Measured = measure(r.s, m, r.opt.ToleranceDB)
	for _, c := range standing {
		came, result := c.look(ctx, r.s)
		r.file(rep, c, came, result)
	}
	err := r.look(ctx, rep, r.opt.Restart.clause())
	rep.Asked = r.s.asked
	return rep, err
}

// look looks at a clause that the jig is asked something for, and files what was found.
func (r *Run) look(ctx context.Context, rep *Report, c clause) error {
	came, result := c.look(ctx, r.s)
	if err := r.s.err; err != nil {
		return r.failure(ctx, fmt.Errorf("while looking at %s: %w", c.name, err))
	}
	if result == Fail {
		r.s.settle(ctx)
	}
	r.file(rep, c, came, result)
	return nil
}

func (r *Run) file(rep *Report, c clause, came string, result Result) {
	f := Finding{c.name, c.section, c.expected, came, result}
	rep.add(f)
	if r.opt.Each != nil {
		r.opt.Each(f)
	}
}
