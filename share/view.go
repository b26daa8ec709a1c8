package share

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
	"evenpole/fit/gain"
	"evenpole/profiles"
	"evenpole/shop"
)

// A View is the shared record as one: the rows of all benches, bench after bench in the
// order of their names, each in its own order. A session is called BENCH/SESSION, and what
// benches name alike and is kept apart has its bench's name after an @. So every bench, and
// the database, have the same view of the same entries, whatever order they came in.
type View struct {
	Clashes []Clash  // names to decide on
	Notes   []string // for people

	parts []part
	names namer
	uses  uses
}

// part is one bench's share of a view.
type part struct {
	bench     string
	dir       string // where its documents stand as files
	decisions string // its file of decisions
	own       bool
	readings  iter.Seq2[record.Reading, error]
	fields    iter.Seq2[record.FieldReading, error]
	rows      func(file string) iter.Seq2[[]string, error]
}

// View is that of what this shop has on its disk: its own record, and the copies of others.
func (b *Bench) View(ctx context.Context) (*View, error) {
	all, err := b.replicas(nil)
	if err != nil {
		return nil, err
	}
	v := &View{}
	for _, x := range all {
		v.parts = append(v.parts, part{
			bench: x.bench, dir: x.dir, decisions: b.decisionsOf(x), own: x.bench == b.Bench,
			readings: record.ReadFile(filepath.Join(x.dir, record.ReadingsFile), record.Readings),
			fields:   record.ReadFile(filepath.Join(x.dir, record.FieldsFile), record.Fields),
			rows: func(file string) iter.Seq2[[]string, error] {
				return record.ReadFile(filepath.Join(x.dir, file), func(r io.Reader, name string) iter.Seq2[[]string, error] { return record.Rows(r, file, name) })
			},
		})
	}
	return v, v.settle(ctx)
}

// ViewOf is that of a carrier: its entries are read as they are asked for, each compared
// with its chain, and its documents are written into dir, which is the caller's to remove.
func ViewOf(ctx context.Context, c Carrier, dir string) (*View, error) {
	heads, err := c.Heads(ctx)
	if err != nil {
		return nil, err
	}
	v := &View{}
	for _, bench := range slices.Sorted(maps.Keys(heads)) {
		if err := CheckBench(bench); err != nil {
			return nil, err
		}
		l := &ledger{file: os.DevNull, last: map[string]string{}}
		for e, err := range chained(c.Read(ctx, bench, Documents, 0), bench, Documents) {
			if err == nil {
				err = l.take(e)
			}
			if err != nil {
				return nil, err
			}
		}
		home := filepath.Join(dir, bench)
		if err := os.MkdirAll(home, 0o755); err != nil {
			return nil, err
		}
		if err := l.restore(home); err != nil {
			return nil, err
		}
		rows := func(file string) iter.Seq2[[]string, error] { return carriedRows(ctx, c, bench, file) }
		v.parts = append(v.parts, part{
			bench: bench, dir: home, decisions: filepath.Join(home, namesFile), rows: rows,
			readings: parsed(rows(record.ReadingsFile), bench, record.ReadingOf),
			fields:   parsed(rows(record.FieldsFile), bench, record.FieldOf),
		})
	}
	return v, v.settle(ctx)
}

// Streamed is ViewOf, in a folder of its own. done removes it, and closes the carrier.
func Streamed(ctx context.Context, c Carrier) (v *View, done func(), err error) {
	dir, err := os.MkdirTemp("", "evenpole-share-*")
	done = func() {
		os.RemoveAll(dir)
		c.Close()
	}
	if err == nil {
		v, err = ViewOf(ctx, c, dir)
	}
	if err != nil {
		done()
		return nil, nil, err
	}
	return v, done, nil
}

// chained hands entries on that follow from one another, from the first of a stream on.
func chained(entries iter.Seq2[Entry, error], bench string, s Stream) iter.Seq2[Entry, error] {
	return func(yield func(Entry, error) bool) {
		head := Start(bench, s)
		for e, err := range entries {
			if err == nil {
				want := head.Next(e.Cells)
				if e.N != want.N || e.Chain != want.Chain {
					err = &BadError{Fault{bench, s, want.N, "it, or an entry before it, was altered in the shared record"}.String()}
				}
				head = want
			}
			if !yield(e, err) || err != nil {
				return
			}
		}
	}
}

// carriedRows are the rows of a file of a bench as a carrier has them.
func carriedRows(ctx context.Context, c Carrier, bench, file string) iter.Seq2[[]string, error] {
	return func(yield func([]string, error) bool) {
		s := Stream(strings.TrimSuffix(file, ".csv"))
		names, form := record.Columns(file), newRowForm(file)
		for e, err := range chained(c.Read(ctx, bench, s, 0), bench, s) {
			var row []string
			if err == nil {
				row, _, err = rowOf(s, names, form, e)
			}
			if !yield(row, err) || err != nil {
				return
			}
		}
	}
}

// parsed turns rows into what they say.
func parsed[T any](rows iter.Seq2[[]string, error], name string, of func([]string, string, int) (T, error)) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		line := 1
		for row, err := range rows {
			var x T
			line++
			if err == nil {
				x, err = of(row, name, line)
			}
			if !yield(x, err) || err != nil {
				return
			}
		}
	}
}

// settle finds what names mean.
func (v *View) settle(ctx context.Context) error {
	w, u := words{}, uses{}
	for _, p := range v.parts {
		err := w.add(p.decisions)
		if bad := (*table.RowError)(nil); errors.As(err, &bad) && !p.own {
			v.Notes = append(v.Notes, fmt.Sprintf("what bench %s decided of names cannot be read, and does not count: %v", p.bench, err))
			err = nil
		}
		if err != nil {
			return err
		}
	}
	for _, p := range v.parts {
		if err := u.note(ctx, &p); err != nil {
			return err
		}
	}
	copies, err := v.copies(u)
	if err != nil {
		return err
	}
	v.uses = u
	v.names, v.Clashes = u.settle(w, func(kind Kind, name, a, b string) (bool, string) {
		x, y := u[kind][name][a], u[kind][name][b]
		switch kind {
		case Jig:
			c, ok := copies[pairOf(kind, name, a, b)]
			return ok && c.other == 0 && c.same > 0, c.String()
		case StringSet:
			if maps.Equal(x.strings, y.strings) {
				return true, ""
			}
			return false, "their strings differ"
		}
		switch {
		case x.first == "" && y.first == "":
			return false, noReadingTells
		case x.first == y.first:
			return false, "their rows say alike: " + x.first
		}
		return false, fmt.Sprintf("%s: %s; %s: %s", a, x.first, b, y.first)
	})
	return nil
}

// note takes in what a bench's rows say of names.
func (u uses) note(ctx context.Context, p *part) error {
	type told struct {
		jig, boot, pickup, batch, set string
		string                        int
	}
	seen := map[told]bool{}
	n := 0
	for r, err := range p.readings {
		if err == nil {
			n++
			err = record.TellRow(ctx, p.bench, n)
		}
		if err != nil {
			return err
		}
		t := told{r.Jig, r.Boot, r.Pickup, r.Batch, r.StringSet, r.String}
		if seen[t] {
			continue
		}
		seen[t] = true
		u.noteReading(p.bench, &r)
	}
	for r, err := range p.fields {
		if err != nil {
			return err
		}
		u.noteJig(p.bench, r.Jig, r.Boot)
		if r.Batch != "" {
			u.of(Batch, r.Batch, p.bench)
		}
		if r.Pickup != "" {
			u.of(Pickup, r.Pickup, p.bench)
		}
	}
	return nil
}

// noteJig notes a jig, but for what stands for recordings, which is no jig.
func (u uses) noteJig(bench, jig, boot string) {
	if jig != "" && !record.IsRecorder(jig) {
		u.of(Jig, jig, bench).boots[boot] = true
	}
}

func (u uses) noteReading(bench string, r *record.Reading) {
	u.noteJig(bench, r.Jig, r.Boot)
	if r.Batch != "" {
		u.of(Batch, r.Batch, bench)
	}
	if x := u.of(Pickup, r.Pickup, bench); x.first == "" {
		x.first = fmt.Sprintf("batch %q, pole %d at %g mm", r.Batch, r.String, r.PoleHeight)
	}
	if r.StringSet != "" {
		gauge := r.Gauge
		if !(gauge > 0) {
			gauge = r.Core
		}
		u.of(StringSet, r.StringSet, bench).strings[fmt.Sprintf("%d: %g/%g", r.String, r.Core, gauge)] = true
	}
}

// copied counts the readings of a jig that two benches have under one number.
type copied struct{ same, other int }

// String says what that tells.
func (c copied) String() string {
	switch {
	case c.other > 0:
		return fmt.Sprintf("%d of their readings have one number and say different things: two jigs", c.other)
	case c.same > 0:
		return fmt.Sprintf("%d of their readings are the same: copies", c.same)
	}
	return noReadingTells
}

const noReadingTells = "no reading tells"

// copies compares the readings of jigs that two benches have of one power-up.
func (v *View) copies(u uses) (map[pair]copied, error) {
	wanted := map[record.ID]bool{} // without numbers
	for jig, by := range u[Jig] {
		count := map[string]int{}
		for _, x := range by {
			for boot := range x.boots {
				count[boot]++
				if boot != "" && count[boot] == 2 {
					wanted[record.ID{Jig: jig, Boot: boot}] = true
				}
			}
		}
	}
	out := map[pair]copied{}
	if len(wanted) == 0 {
		return out, nil
	}
	said := map[record.ID]map[string]string{} // by bench
	for _, p := range v.parts {
		for r, err := range p.readings {
			if err != nil {
				return nil, err
			}
			id, named := r.ID()
			if !named || r.Status == record.Retracted || !wanted[record.ID{Jig: id.Jig, Boot: id.Boot}] {
				continue
			}
			if said[id] == nil {
				said[id] = map[string]string{}
			}
			said[id][p.bench] = fmt.Sprint(r.Time.UnixMilli(), r.String, r.RMS, r.Peak, r.Freq)
		}
	}
	for id, by := range said {
		for a, x := range by {
			for b, y := range by {
				if a >= b {
					continue
				}
				p := pairOf(Jig, id.Jig, a, b)
				c := out[p]
				if x == y {
					c.same++
				} else {
					c.other++
				}
				out[p] = c
			}
		}
	}
	return out, nil
}

// Benches are those whose rows the view has.
func (v *View) Benches() []string {
	var out []string
	for _, p := range v.parts {
		out = append(out, p.bench)
	}
	return out
}

// Decide notes what a person says of a name: of each two of the benches, which have to use
// it, or of all that do where none is given. It returns the benches.
func (b *Bench) Decide(ctx context.Context, kind Kind, name string, benches []string, word Word, reason string) ([]string, error) {
	v, err := b.View(ctx)
	if err != nil {
		return nil, err
	}
	users := slices.Sorted(maps.Keys(v.uses[kind][name]))
	for _, bench := range benches {
		if !slices.Contains(users, bench) {
			return nil, &InputError{fmt.Sprintf("bench %.60q has no %s %q", bench, kind, name)}
		}
	}
	if len(benches) == 0 {
		benches = users
	}
	benches = slices.Compact(slices.Sorted(slices.Values(benches)))
	return benches, b.note(kind, name, benches, word, reason)
}

// Source is the view as readings with what belongs to them, for shop.Cells.
func (v *View) Source() (shop.Source, error) {
	s := shop.Source{Readings: v.Readings(), Magnets: map[string][]string{}}
	for _, p := range v.parts {
		book, err := gain.Load(p.dir)
		if err != nil {
			return s, &InputError{err.Error()}
		}
		for _, c := range book {
			c.Jig = v.names.of(Jig, p.bench, c.Jig)
			s.Gains = append(s.Gains, c)
		}
		v.addMagnets(&p, s.Magnets)
	}
	slices.SortStableFunc(s.Gains, func(x, y gain.Calibration) int {
		if c := x.From.Compare(y.From); c != 0 {
			return c
		}
		return x.Time.Compare(y.Time)
	})
	for range v.Fields() {
		s.Fields = v.Fields()
		break
	}
	return s, nil
}

// Operators says who captured a session, as far as its holds tell.
func (v *View) Operators() (map[string]string, error) {
	names := record.Columns(record.SessionsFile)
	session, operator := slices.Index(names, "session"), slices.Index(names, "operator")
	who := map[string]string{}
	for _, p := range v.parts {
		for row, err := range p.rows(record.SessionsFile) {
			if err != nil {
				return nil, err
			}
			if row[session] != "" && row[operator] != "" {
				who[p.bench+"/"+row[session]] = row[operator]
			}
		}
	}
	return who, nil
}

// addMagnets notes which magnets a bench's pickups have, by its mounts. A mount that cannot
// be read says nothing.
func (v *View) addMagnets(p *part, magnets map[string][]string) {
	lib, err := profiles.LoadLibrary(p.dir)
	if err != nil {
		return
	}
	files, _ := disk.Matching(filepath.Join(p.dir, record.MountsDir), "*.toml") // a folder that cannot be read has none
	for _, file := range files {
		m, err := profiles.ReadMount(file, lib)
		if err != nil || m.Pickup == "" || len(m.Magnets) == 0 {
			continue
		}
		var list []string
		for _, magnet := range m.Magnets {
			list = append(list, v.magnet(p.bench, m.Batch, magnet))
		}
		magnets[v.names.of(Pickup, p.bench, m.Pickup)] = list
	}
}

// magnet is what a magnet of a batch is called: where its batch is kept apart, so is it.
func (v *View) magnet(bench, batch, magnet string) string {
	if magnet == "" {
		return ""
	}
	return magnet + strings.TrimPrefix(v.names.of(Batch, bench, batch), batch)
}

// Readings are the rows of all benches. Their lines are those of the file that Export
// writes.
func (v *View) Readings() iter.Seq2[record.Reading, error] {
	return inLine(v.parts, func(p *part) iter.Seq2[record.Reading, error] { return p.readings }, func(p *part, r *record.Reading, line int) int {
		r.Session = p.bench + "/" + r.Session
		r.Jig, r.Pickup = v.names.of(Jig, p.bench, r.Jig), v.names.of(Pickup, p.bench, r.Pickup)
		r.Batch, r.StringSet = v.names.of(Batch, p.bench, r.Batch), v.names.of(StringSet, p.bench, r.StringSet)
		r.Line = line
		return strings.Count(r.Note, "\n")
	})
}

// Fields are likewise the field readings.
func (v *View) Fields() iter.Seq2[record.FieldReading, error] {
	return inLine(v.parts, func(p *part) iter.Seq2[record.FieldReading, error] { return p.fields }, func(p *part, r *record.FieldReading, line int) int {
		r.Session = p.bench + "/" + r.Session
		r.Magnet = v.magnet(p.bench, r.Batch, r.Magnet)
		r.Jig, r.Pickup, r.Batch = v.names.of(Jig, p.bench, r.Jig), v.names.of(Pickup, p.bench, r.Pickup), v.names.of(Batch, p.bench, r.Batch)
		r.Line = line
		return strings.Count(r.Note, "\n")
	})
}

// inLine hands the rows of parts on, one after the other, as change makes them. change
// returns how many line ends a row has within.
func inLine[T any](parts []part, of func(*part) iter.Seq2[T, error], change func(p *part, x *T, line int) int) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		line := 2
		for i := range parts {
			p := &parts[i]
			for x, err := range of(p) {
				if err == nil {
					line += 1 + change(p, &x, line)
				}
				if !yield(x, err) || err != nil {
					return
				}
			}
		}
	}
}

// Export writes the rows of all benches of a file, ReadingsFile or FieldsFile, as CSV with
// the names that they have in the view. It tells how many rows that were.
func (v *View) Export(ctx context.Context, to io.Writer, file string) (rows int, err error) {
	names := record.Columns(file)
	w := table.NewWriter(to, false)
	if err := w.Write(names); err != nil {
		return 0, err
	}
	rename := v.renamer(names)
	for i := range v.parts {
		p := &v.parts[i]
		for row, err := range p.rows(file) {
			if err == nil {
				err = record.TellRow(ctx, p.bench, rows)
			}
			if err != nil {
				return rows, err
			}
			rename(p.bench, row)
			if err := w.Write(row); err != nil {
				return rows, err
			}
			rows++
		}
	}
	return rows, w.Flush()
}

// renamer returns what gives the cells of a bench's row, in these columns, the names that
// the shared record has.
func (v *View) renamer(columns []string) func(bench string, row []string) {
	at := func(column string) int { return slices.Index(columns, column) }
	session, magnet, batch := at("session"), at("magnet"), at("batch")
	kinds := map[int]Kind{at("jig"): Jig, at("pickup"): Pickup, batch: Batch}
	if set := at("string_set"); set >= 0 { // readings have one
		kinds[set] = StringSet
	}
	return func(bench string, row []string) {
		row[session] = bench + "/" + row[session]
		if magnet >= 0 { // field readings have one
			row[magnet] = v.magnet(bench, row[batch], row[magnet])
		}
		for i, kind := range kinds {
			row[i] = v.names.of(kind, bench, row[i])
		}
	}
}
