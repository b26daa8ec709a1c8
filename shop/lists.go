package shop

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/fit/cell"
	"evenpole/fit/explain"
	"evenpole/fit/gain"
	"evenpole/fit/level"
	"evenpole/fit/verdict"
	"evenpole/profiles"
)

// Errors of names that a shop does not have; each is within an *InputError.
var (
	ErrUnknownOrder       = errors.New("no order of the shop has this name")
	ErrUnknownMount       = errors.New("no mount of the shop has this name")
	ErrUnknownCertificate = errors.New("no certificate has this number")
)

// Orders names the orders that stand in the shop's folder of orders.
func (s *Shop) Orders() ([]string, error) { return s.described(ordersDir) }

// Described is what stands in a file of the shop's, or why it cannot be read.
type Described[T any] struct {
	Name string
	What T
	Err  error
}

// ReadOrders reads some of Orders.
func (s *Shop) ReadOrders(names []string) iter.Seq[Described[*profiles.Order]] {
	return readAll(s, ordersDir, names, ErrUnknownOrder, profiles.ReadOrder)
}

// readAll reads what stands in a folder under some names, with one look at the string sets at
// hand: a shop has thousands of orders, and hundreds of sets.
func readAll[T any](s *Shop, dir string, names []string, unknown error, read func(path string, lib *profiles.Library) (T, error)) iter.Seq[Described[T]] {
	return func(yield func(Described[T]) bool) {
		lib, wrong := s.Library()
		for _, name := range names {
			x := Described[T]{Name: name}
			if x.Err = wrong; wrong == nil {
				x.What, x.Err = named(s, dir, name, unknown, func(path string) (T, error) { return read(path, lib) })
			}
			if !yield(x) {
				return
			}
		}
	}
}

// Order reads one of Orders.
func (s *Shop) Order(name string) (*profiles.Order, error) {
	return named(s, ordersDir, name, ErrUnknownOrder, s.ReadOrder)
}

// Twins says which other orders of the shop have the id of one that stands there: papers name
// an order by its id alone.
func (s *Shop) Twins(o *profiles.Order) ([]string, error) {
	name, ok := strings.CutSuffix(filepath.Base(o.File), tomlEnd)
	if !ok || resolved(o.File) != resolved(s.join(ordersDir, name+tomlEnd)) {
		return nil, nil
	}
	names, err := s.Orders()
	if err != nil {
		return nil, err
	}
	var out []string
	for other := range s.ReadOrders(names) {
		if other.Name != name && other.Err == nil && other.What.ID == o.ID {
			out = append(out, twinOf(other.Name, o.ID))
		}
	}
	return out, nil
}

// twinOf says that another order has an id, too.
func twinOf(name, id string) string {
	return fmt.Sprintf("%s/%s%s has the id %q, too: what is checked against one counts for both; give one of them another id", ordersDir, name, tomlEnd, id)
}

// JigMounts names the mounts that stand in the shop's folder of what to mount.
func (s *Shop) JigMounts() ([]string, error) { return s.described(jigDir) }

// JigMount reads one of JigMounts.
func (s *Shop) JigMount(name string) (*profiles.Mount, error) {
	return named(s, jigDir, name, ErrUnknownMount, s.ReadMount)
}

const tomlEnd = ".toml"

// described names the plain TOML files of a folder, without their ends. A link, which may
// lead out of the shop, is none.
func (s *Shop) described(dir string) ([]string, error) {
	entries, err := os.ReadDir(s.join(dir))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	var names []string
	for _, e := range entries {
		if name, ok := strings.CutSuffix(e.Name(), tomlEnd); ok && e.Type().IsRegular() {
			names = append(names, name)
		}
	}
	return names, nil
}

// named reads what [Shop.described] has in a folder under a name; no other name leads to a
// file. The folder is not listed for it: it may have thousands, all of which are asked for.
func named[T any](s *Shop, dir, name string, unknown error, read func(path string) (T, error)) (T, error) {
	file, info, err := name+tomlEnd, fs.FileInfo(nil), fs.ErrNotExist
	if filepath.IsLocal(file) && filepath.Base(file) == file {
		info, err = os.Lstat(s.join(dir, file))
	}
	var none T
	switch {
	case errors.Is(err, fs.ErrPermission):
		return none, err
	case err != nil || !info.Mode().IsRegular():
		return none, bad("%w: %.60q", unknown, name)
	}
	return read(s.join(dir, file))
}

// Certificate is the certificate of a number.
func (all Certificates) Certificate(number int) (*Certificate, error) {
	for _, c := range all {
		if c.Certificate == number {
			return c, nil
		}
	}
	return nil, bad("%w: %d", ErrUnknownCertificate, number)
}

// OfPickup are the certificates of a pickup.
func (all Certificates) OfPickup(id string) (out Certificates) {
	for _, c := range all {
		if c.Pickup == id {
			out = append(out, c)
		}
	}
	return out
}

// Newest is the certificate with the highest number; nil without any.
func (all Certificates) Newest() (newest *verdict.Verdict) {
	for _, c := range all {
		if newest == nil || c.Certificate > newest.Certificate {
			newest = &c.Verdict
		}
	}
	return newest
}

// CertificatePage reads a page of a certificate: "html" or "pdf".
func (s *Shop) CertificatePage(v *verdict.Verdict, format string) ([]byte, error) {
	for _, file := range s.CertificateFiles(v.Certificate, v.Order, v.Pickup) {
		if filepath.Ext(file) == "."+format {
			return disk.ReadFile(file)
		}
	}
	return nil, bad("expected html or pdf, got %.20q", format)
}

// Calibrations are the gains of jigs that the shop has found.
func (s *Shop) Calibrations() (gain.Book, error) { return s.folder.gains() }

// ExplainPickup splits the balance of a measured pickup's latest session into causes, by
// the shop's current model.
func (s *Shop) ExplainPickup(ctx context.Context, pickup string) (*explain.Explanation, error) {
	m, err := s.Model("")
	if err != nil {
		return nil, err
	}
	data, err := s.Cells(ctx)
	if err != nil {
		return nil, err
	}
	x, err := explain.ExplainPickup(m.Model, data, pickup, "")
	if err != nil {
		return nil, input(ctx, err)
	}
	return x, nil
}

// Diagnose says how a model of the shop describes its record, and whether it was fitted
// to that very record.
func (s *Shop) Diagnose(ctx context.Context, model string) (d *explain.Diagnosis, fitted bool, err error) {
	m, err := s.ReadModel(model)
	if err != nil {
		return nil, false, err
	}
	data, err := s.Cells(ctx)
	if err != nil {
		return nil, false, err
	}
	if d, err = explain.Diagnose(ctx, m.Model, data, nil); err != nil {
		return nil, false, input(ctx, err)
	}
	return d, data.Fingerprint() == m.Fingerprint, nil
}

// Measured is what the record has of a pickup.
type Measured struct {
	Pickup, Batch string
	Sessions      []Session // in the order of their first takes
}

// Session is one session of a pickup.
type Session struct {
	ID          string
	Purpose     record.Purpose
	Jig, Set    string
	Driven      bool          // by an exciter, in place of plucks
	First, Last time.Time     // of its takes that count; of its readings
	Takes       int           // that count
	Level       level.Figure  // mV, of all strings together
	Strings     []StringLevel // how loud each was
}

// Latest is the session that was measured last; nil without any.
func (m *Measured) Latest() *Session {
	var last *Session
	for i := range m.Sessions {
		if last == nil || !m.Sessions[i].Last.Before(last.Last) {
			last = &m.Sessions[i]
		}
	}
	return last
}

// Fullest is the session that tells most of the pickup as it is: the newest of those in which
// as many strings were measured as in any, so that one that was begun and left does not hide
// a whole one before it; a plucked one before driven ones, whose balance is not what a player
// hears; nil without any.
func (m *Measured) Fullest() *Session {
	var fullest *Session
	for i := range m.Sessions {
		if x := &m.Sessions[i]; fullest == nil || x.tells(fullest) >= 0 {
			fullest = x
		}
	}
	return fullest
}

// tells compares how much a session tells of a pickup with what another does.
func (x *Session) tells(than *Session) int {
	plucked := func(s *Session) int {
		if s.Driven {
			return 0
		}
		return 1
	}
	return cmp.Or(cmp.Compare(x.measured(), than.measured()), cmp.Compare(plucked(x), plucked(than)), x.Last.Compare(than.Last))
}

// measured counts the strings whose level is known.
func (x *Session) measured() (n int) {
	for i := range x.Strings {
		if x.Strings[i].Level.Known() {
			n++
		}
	}
	return n
}

// Takes counts the takes of all sessions that count.
func (m *Measured) Takes() (n int) {
	for _, x := range m.Sessions {
		n += x.Takes
	}
	return n
}

// Of counts the sessions of a purpose.
func (m *Measured) Of(purpose record.Purpose) (n int) {
	for _, x := range m.Sessions {
		if x.Purpose == purpose {
			n++
		}
	}
	return n
}

// Pickups lists what was measured, the newest first. Takes count as models take them.
func (s *Shop) Pickups(ctx context.Context) ([]Measured, error) {
	if Missing(s.ReadingsFile()) {
		return nil, nil
	}
	return pickupsOf(until(ctx, "readings", s.Readings()), func(*record.Reading) bool { return true })
}

// pickupsOf lists what was measured by the rows that are wanted.
func pickupsOf(rows iter.Seq2[record.Reading, error], wanted func(*record.Reading) bool) ([]Measured, error) {
	type key struct{ pickup, session string }
	about := map[key]*Session{}
	var last key // of the row before
	seen := &Session{}
	data, err := cell.GatherOnly(wanted, noted(asFiled(rows), func(r *record.Reading) {
		if !wanted(r) {
			return
		}
		if k := (key{r.Pickup, r.Session}); k != last || about[k] == nil {
			if seen = about[k]; seen == nil {
				seen = &Session{}
				about[k] = seen
			}
			last = k
		}
		seen.Purpose, seen.Jig, seen.Driven = r.Purpose, r.Jig, seen.Driven || r.Mode == record.Drive
		if r.Status != record.Retracted && r.Time.After(seen.Last) {
			seen.Last = r.Time
		}
	}))
	if err != nil {
		return nil, err
	}
	var out []Measured
	var factors tFactors
	for _, cells := range data.Sessions() {
		first := cells[0]
		if n := len(out); n == 0 || out[n-1].Pickup != first.Pickup {
			out = append(out, Measured{Pickup: first.Pickup, Batch: first.Batch})
		}
		x := *about[key{first.Pickup, first.Session}]
		x.ID, x.Set, x.First = first.Session, first.Set, first.First.Time()
		for _, c := range cells {
			x.Takes += c.Takes
		}
		x.Strings, x.Level = factors.levelsOf(cells)
		m := &out[len(out)-1]
		m.Sessions = append(m.Sessions, x)
	}
	for i := range out {
		slices.SortStableFunc(out[i].Sessions, func(a, b Session) int { return a.First.Compare(b.First) })
	}
	slices.SortStableFunc(out, func(a, b Measured) int {
		return cmp.Or(b.Latest().Last.Compare(a.Latest().Last), cmp.Compare(a.Pickup, b.Pickup))
	})
	return out, nil
}

// noted hands rows on and shows each to note, once where they are read several times.
func noted(rows iter.Seq2[record.Reading, error], note func(*record.Reading)) iter.Seq2[record.Reading, error] {
	again := false
	return func(yield func(record.Reading, error) bool) {
		first := !again
		again = true
		for r, err := range rows {
			if err == nil && first {
				note(&r)
			}
			if !yield(r, err) {
				return
			}
		}
	}
}

// Stamp changes when the record or the models do, as far as their files' sizes and times
// tell: what was worked out from them holds as long as it stays.
func (s *Shop) Stamp() string {
	var b strings.Builder
	for _, file := range []string{s.ReadingsFile(), s.fieldsFile(), s.batches(), s.current(), s.operators(), s.join(gain.Dir)} {
		if info, err := os.Stat(file); err == nil {
			fmt.Fprintf(&b, "%d %d;", info.Size(), info.ModTime().UnixNano())
		} else {
			b.WriteString("none;")
		}
	}
	return b.String()
}

// ParseOrder is ReadOrder of a text; name stands for the file in errors.
func (s *Shop) ParseOrder(name, text string) (*profiles.Order, error) {
	lib, err := s.Library()
	if err != nil {
		return nil, err
	}
	return profiles.ParseOrder(name, []byte(text), lib)
}

// OrderText is the text of one of Orders.
func (s *Shop) OrderText(name string) (string, error) {
	text, err := named(s, ordersDir, name, ErrUnknownOrder, disk.ReadFile)
	return string(text), err
}

// SaveOrder keeps an order under its id, and returns its name. One that is there stays:
// ErrThere.
func (s *Shop) SaveOrder(text string) (name string, err error) {
	o, err := s.ParseOrder("order", text)
	if err != nil {
		return "", err
	}
	if name = safe(o.ID); name == "" || name == "." || name == ".." {
		return "", bad("order: its id, %q, is no name for a file", o.ID)
	}
	err = Describe(s.OrderFile(o.ID), text)
	if errors.Is(err, fs.ErrExist) {
		return "", bad("order %s %w", name, ErrThere)
	}
	return name, err
}
