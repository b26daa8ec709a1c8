package record

import (
	"errors"
	"fmt"
	"io"
	"iter"
)

// window is how many rows or seals a matcher looks ahead to find where rows and
// seals go together again.
const window = 4096

// A matcher compares the rows of a record with their seals, one after the other,
// and tells where a row and a seal do not go together: where rows were altered, added
// or removed it looks ahead.
type matcher struct {
	file   string
	tell   func(Finding)
	busy   bool    // a writer is at work, or was cut short
	untold Finding // which the next row may belong to, too
	after  int     // the row before the one at hand: the last one of untold

	next  func() (seal, error, bool)
	stop  func()
	begun bool
	last  seal // the newest that was read

	rows   []digestedRow  // that wait for a match
	seals  []seal         // that wait for a match
	passed int            // seals that do not wait any more
	where  map[string]int // the seals that wait, by their digests, counted with those that passed; nil until rows and seals first do not go together
	before int            // rows at the beginning, from before there were seals
	sealed int            // rows that say what their seals say
}

type digestedRow struct {
	digestRow
	lost *lostHold // what is gone of sessions.csv if a capture wrote the row; nil for nothing
}

func newMatcher(file string, tell func(Finding), busy bool) *matcher {
	none := func() (seal, error, bool) { return seal{}, nil, false }
	return &matcher{file: file, tell: tell, busy: busy, after: 1, next: none, stop: func() {}}
}

// read gives the matcher its seals.
func (m *matcher) read(seals io.Reader) {
	m.next, m.stop = iter.Pull2(readSeals(seals, sealsPath(m.file)))
	m.begun = true
	m.fill(1)
}

// fill reads seals until n wait, or there are no more.
func (m *matcher) fill(n int) {
	for len(m.seals) < n {
		s, err, ok := m.next()
		switch {
		case !ok:
			return
		case err != nil:
			m.badSeal(err)
		case s.digest == "" && m.last == seal{}:
			m.before = s.row
			m.check(s)
		default:
			m.check(s)
			if m.where != nil {
				m.where[s.digest] = m.passed + len(m.seals)
			}
			m.seals = append(m.seals, s)
		}
	}
}

// check looks whether a seal follows the one before.
func (m *matcher) check(s seal) {
	if want := s.after(m.last); want.chain != s.chain || m.last.row > 0 && s.row != m.last.row+1 {
		m.tell(Finding{sealsPath(m.file), s.line, s.line, BadSeals, true, "the line does not follow from the one before it"})
	}
	m.last = s
}

func (m *matcher) badSeal(err error) {
	f := Finding{sealsPath(m.file), 0, 0, BadSeals, true, err.Error()}
	var row *RowError
	if errors.As(err, &row) {
		f.First, f.Last, f.Text = row.Line, row.Line, row.Column+": "+row.Msg
	}
	m.tell(f)
}

// row compares the next row of the record.
func (m *matcher) row(row digestedRow) {
	if m.before > 0 {
		m.before--
		m.note(row.line, Unsealed, false, "written before there were seals: whether it was altered cannot be told")
		return
	}
	m.rows = append(m.rows, row)
	for len(m.rows) > 0 && (m.fits() || len(m.rows) >= window) {
		m.settle()
	}
}

// fits tells whether the next row and the next seal go together.
func (m *matcher) fits() bool {
	m.fill(1)
	return len(m.seals) > 0 && m.seals[0].digest == string(m.rows[0].digest[:])
}

// settle decides on at least one row that waits.
func (m *matcher) settle() {
	if m.fits() {
		m.match()
		return
	}
	m.lookAhead()
	rows, seals := m.nextPair()
	for range min(rows, seals) {
		m.note(m.rows[0].line, Altered, true, "it does not say what it said when it was written")
		m.drop(1, 1)
	}
	for range rows - seals {
		m.added()
	}
	if seals > rows {
		m.missing(seals - rows)
		m.drop(0, seals-rows)
	}
}

// lookAhead reads seals until as many wait as a window has.
func (m *matcher) lookAhead() {
	if m.where == nil {
		m.where = map[string]int{}
		for i, s := range m.seals {
			m.where[s.digest] = m.passed + i
		}
	}
	m.fill(window)
}

// nextPair returns how many rows and seals come before the next row and seal that
// go together, the fewest of both. Where none of those that wait do, the rows were
// altered, as far as there are seals.
func (m *matcher) nextPair() (rows, seals int) {
	best := len(m.rows) + len(m.seals)
	for i := 0; i < len(m.rows) && i < best; i++ {
		at, ok := m.where[string(m.rows[i].digest[:])]
		if j := at - m.passed; ok && i+j < best {
			rows, seals, best = i, j, i+j
		}
	}
	switch n := min(len(m.rows), len(m.seals)); {
	case rows+seals > 0:
		return rows, seals
	case n > 0:
		return n, n
	}
	return len(m.rows), 0
}

// match passes a row and its seal.
func (m *matcher) match() {
	line, s := m.rows[0].line, m.seals[0]
	m.sealed++
	switch s.remark {
	case foundLater:
		m.note(line, Added, true, "it stood there without a seal when the next writer opened the record: added by hand?")
	case afterCrash:
		m.note(line, Unsealed, false, "sealed only after a crash: until then it could have been altered")
	case accepted:
		m.note(line, Unsealed, false, "sealed as it stood, on request")
	default:
		m.after = line
		if lost := m.rows[0].lost; lost != nil {
			lost.by(line)
		}
	}
	m.drop(1, 1)
}

// added passes a row that has no seal.
func (m *matcher) added() {
	line := m.rows[0].line
	switch {
	case !m.begun:
		m.note(line, Unsealed, false, "there are no seals: whether it was altered cannot be told")
	case m.busy && len(m.seals) == 0:
		m.note(line, Unsealed, false, "not sealed yet: a writer is at work, or was cut short")
	default:
		m.note(line, Added, true, "it has no seal: added by hand, or moved from elsewhere?")
	}
	m.drop(1, 0)
}

func (m *matcher) missing(n int) {
	m.flush()
	text := fmt.Sprintf("%d rows that were written after this one are gone", n)
	if n == 1 {
		text = "a row that was written after this one is gone"
	}
	m.tell(Finding{m.file, m.after, m.after, Missing, true, text})
}

func (m *matcher) drop(rows, seals int) {
	for _, s := range m.seals[:seals] {
		if m.where != nil && m.where[s.digest] == m.passed {
			delete(m.where, s.digest)
		}
		m.passed++
	}
	m.rows, m.seals = dropped(m.rows, rows), dropped(m.seals, seals)
}

// dropped are things without the first ones; where none is left their memory is used again.
func dropped[T any](things []T, n int) []T {
	if n == len(things) {
		return things[:0]
	}
	return things[n:]
}

// note tells of a row. Rows that follow each other and of which the same is said are
// told of together.
func (m *matcher) note(line int, kind string, fault bool, text string) {
	if m.untold.Kind == kind && m.untold.Text == text && m.untold.Last == m.after {
		m.untold.Last = line
	} else {
		m.flush()
		m.untold = Finding{m.file, line, line, kind, fault, text}
	}
	m.after = line
}

func (m *matcher) flush() {
	if m.untold.Kind != "" {
		m.tell(m.untold)
	}
	m.untold = Finding{}
}

// end decides on what still waits when the record has ended.
func (m *matcher) end() {
	for len(m.rows) > 0 {
		m.settle()
	}
	gone := 0
	for m.fill(1); len(m.seals) > 0; m.fill(1) {
		m.drop(0, 1)
		gone++
	}
	if gone > 0 {
		m.missing(gone)
	}
	m.flush()
}
