package record

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
)

// commands are the holds of a sessions.csv, to tell by rows of the record which of its rows
// are gone. A capture adds a hold before its first command, and files under its session only
// what it commanded; so each row that a capture wrote was commanded by its session. Nothing
// tells of a hold that ended a session, that said that one is of another mount, or after
// which no reading was kept.
type commands struct {
	holds map[powerUp]Holds
	lost  map[ofSession]*lostHold
	order []*lostHold // as their rows come
	last  ofSession   // which holds is that of the row before
	held  Holds       // likewise
}

// ofSession is what one session had of one jig's power-up.
type ofSession struct {
	powerUp
	session string
}

// lostHold is a hold that is gone, with the rows that a capture wrote by it.
type lostHold struct {
	ofSession
	rows, first, last int // how many there are, and the lines of the first and the last one
}

// readCommands reads the sessions.csv of a folder; nil where there is none, or where its
// header cannot be read. Its rows that cannot be read are told as well.
func readCommands(dir string) (c *commands, bad []Finding, err error) {
	path := filepath.Join(dir, SessionsFile)
	f, err := openNow(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, nil
	}
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	c = &commands{holds: map[powerUp]Holds{}, lost: map[ofSession]*lostHold{}}
	if torn := f.tornEnd(); torn != "" {
		bad = append(bad, Finding{path, 0, 0, Torn, false, torn})
	}
	if f.Size() == 0 {
		return c, bad, nil
	}
	for h, err := range readHolds(f, path) {
		var row *RowError
		switch {
		case err == nil:
			p := powerUp{h.Jig, h.Boot}
			c.holds[p] = append(c.holds[p], h)
		case !errors.As(err, &row):
			return nil, bad, err
		default:
			bad = append(bad, unreadable(path, row.Line, row))
			if row.Line == 1 {
				return nil, bad, nil
			}
		}
	}
	return c, bad, nil
}

// lostBy returns the hold that is gone if a capture wrote a row: where it names a jig's
// reading and a session as captures call theirs, and no hold says that the session commanded
// it. nil for none.
func (c *commands) lostBy(a *about) *lostHold {
	if c == nil || !a.named || a.id.Imported() || sessionNumber(a.session) == 0 {
		return nil
	}
	of := ofSession{powerUp{a.id.Jig, a.id.Boot}, a.session}
	if of != c.last {
		c.last, c.held = of, c.holds[of.powerUp]
	}
	if c.held.Owner(of.jig, of.boot, a.id.Seq) == a.session || IsRecorder(of.jig) && c.held.has(a.session) {
		return nil
	}
	h := c.lost[of]
	if h == nil {
		h = &lostHold{ofSession: of}
		c.lost[of] = h
		c.order = append(c.order, h)
	}
	return h
}

// has reports whether one of the holds is a session's. A recording that was filed anew
// numbers its readings from 1 in each of its sessions, so that its latest owns all.
func (all Holds) has(session string) bool {
	return slices.ContainsFunc(all, func(h Hold) bool { return h.Session == session })
}

// by takes note that a capture wrote the row on a line.
func (h *lostHold) by(line int) {
	if h.rows++; h.rows == 1 {
		h.first = line
	}
	h.last = line
}

// tell tells of the holds that are gone by the rows of a file.
func (c *commands) tell(dir, file string, tell func(Finding)) {
	if c == nil {
		return
	}
	for _, h := range c.order {
		if h.rows == 0 {
			continue
		}
		by := fmt.Sprintf("row %d of %s has", h.first, file)
		if h.rows > 1 {
			by = fmt.Sprintf("rows %d to %d of %s have", h.first, h.last, file)
		}
		tell(Finding{filepath.Join(dir, SessionsFile), 0, 0, Missing, true,
			fmt.Sprintf("no row says that session %q had jig %q, boot %s, as %s it: put back what is gone from a copy of the file; the readings count all the same", h.session, h.jig, h.boot, by)})
	}
}
