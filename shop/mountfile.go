package shop

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/fit/cell"
	"evenpole/profiles"
)

// MountedWith is the mount of a session, for who wants to correct it.
type MountedWith struct {
	File string // the shop's file of what to mount that says the same; "" when none does
	Copy string // the record's copy, which stays as it is; "" when it has none
}

// MountsOf looks up the mounts of sessions. A file of the shop that cannot be read is no
// session's.
func (s *Shop) MountsOf(sessions []string) (map[string]MountedWith, error) {
	holds, err := record.HoldsIn(s.Dir())
	if err != nil {
		return nil, err
	}
	names, err := s.JigMounts()
	if err != nil {
		return nil, err
	}
	files := map[string]string{} // by the name of the record's copy
	for m := range s.jigFiles(names) {
		if copied, err := record.MountName(m); err == nil {
			files[copied] = m.File
		}
	}
	all := map[string]MountedWith{}
	for _, session := range sessions {
		if copied := holds.Mount(session); copied != "" {
			all[session] = MountedWith{files[copied], s.join(record.MountsDir, copied)}
		}
	}
	return all, nil
}

// jigFiles reads the shop's files of what to mount, those that can be read.
func (s *Shop) jigFiles(names []string) iter.Seq[*profiles.Mount] {
	return func(yield func(*profiles.Mount) bool) {
		for m := range readAll(s, jigDir, names, ErrUnknownMount, profiles.ReadMount) {
			if m.Err == nil && !yield(m.What) {
				return
			}
		}
	}
}

// MountFileOf is the shop's file of what to mount that has a pickup; "" where none has, or
// several have.
func (s *Shop) MountFileOf(pickup string) (file string, err error) {
	names, err := s.JigMounts()
	if err != nil {
		return "", err
	}
	for m := range s.jigFiles(names) {
		switch {
		case m.Pickup != pickup:
		case file != "":
			return "", nil
		default:
			file = m.File
		}
	}
	return file, nil
}

// SameMount names the other sessions of the mount that a session is of.
func (s *Shop) SameMount(session string) (others []string, err error) {
	holds, err := record.HoldsIn(s.Dir())
	if err != nil {
		return nil, err
	}
	mount := holds.Mount(session)
	for _, h := range holds {
		if mount != "" && h.Session != session && h.Session != "" && holds.Mount(h.Session) == mount && !slices.Contains(others, h.Session) {
			others = append(others, h.Session)
		}
	}
	return others, nil
}

// MountText is the text of a mount file with what was on the jig in a session: the record's copy
// of what was mounted then or, as of a spreadsheet, what the rows say that count. Heights that
// a session has in several ways are an *InputError, and so are two coils, whose places rows do
// not say.
func (s *Shop) MountText(ctx context.Context, session string) (string, error) {
	if err := s.RequireRecord(); err != nil {
		return "", err
	}
	holds, err := record.HoldsIn(s.Dir())
	if err != nil {
		return "", err
	}
	if copied := holds.Mount(session); copied != "" {
		text, err := disk.ReadFile(s.join(record.MountsDir, copied))
		if !errors.Is(err, fs.ErrNotExist) {
			return string(text), err
		}
	}
	f := filedMount{session: session, strings: map[int]record.Reading{}, magnets: map[int]string{}}
	if err := s.readFiled(ctx, &f); err != nil {
		return "", err
	}
	lib, err := s.Library()
	if err != nil {
		return "", err
	}
	return f.text(lib)
}

// readFiled reads what the rows of a session say of its mount.
func (s *Shop) readFiled(ctx context.Context, f *filedMount) error {
	if !Missing(s.ReadingsFile()) {
		rows, err := record.Sift(until(ctx, "readings", s.Readings()), func(r *record.Reading) bool { return r.Session == f.session })
		if err != nil {
			return err
		}
		for _, r := range rows {
			if err := f.meet(&r.Row, r.Why); err != nil {
				return err
			}
		}
	}
	if !Missing(s.fieldsFile()) {
		rows, err := record.Sift(until(ctx, "fields", fieldRows(s.fieldsFile())), func(r *record.FieldReading) bool { return r.Session == f.session })
		if err != nil {
			return err
		}
		for _, r := range rows {
			f.meetField(&r.Row, r.Why)
		}
	}
	if f.pickup == "" && f.batch == "" && len(f.strings) == 0 {
		return bad("session %q: expected one of the record with readings that count", f.session)
	}
	return nil
}

// filedMount is what rows of a session say of what was on the jig.
type filedMount struct {
	session, pickup, batch string
	strings                map[int]record.Reading // by number; the last of each
	magnets                map[int]string         // by position, or string
	gap                    float64                // mm, field probe to pole face; 0 when no row says
}

// stands reports whether a row says what was mounted, good take or not.
func stands(why record.Reason) bool {
	return why != record.TakenBack && why != record.TakesBack && why != record.Repeated
}

func (f *filedMount) meet(r *record.Reading, why record.Reason) error {
	if !stands(why) || math.IsNaN(r.PoleHeight) { // one of another mount has no heights
		return nil
	}
	if was, met := f.strings[r.String]; met && (was.PoleHeight != r.PoleHeight || was.StringHeight != r.StringHeight || was.Core != r.Core || was.Pickup != r.Pickup) {
		return bad("session %q: line %d has string %d otherwise than line %d: its rows are of several mountings", f.session, r.Line, r.String, was.Line)
	}
	if r.TwoCoils() {
		return bad("session %q: a pickup with two coils, of which rows do not say where they are: 'mount new --kind two-coils' has the keys", f.session)
	}
	f.strings[r.String] = *r
	f.pickup, f.batch = r.Pickup, r.Batch
	return nil
}

func (f *filedMount) meetField(r *record.FieldReading, why record.Reason) {
	if !stands(why) {
		return
	}
	f.pickup, f.batch = cmp.Or(f.pickup, r.Pickup), cmp.Or(f.batch, r.Batch)
	if r.ProbeGap > 0 {
		f.gap = r.ProbeGap
	}
	if r.Magnet != "" {
		f.magnets[r.Position] = r.Magnet
	}
}

// text writes the file.
func (f *filedMount) text(lib *profiles.Library) (string, error) {
	list, err := f.list()
	if err != nil {
		return "", err
	}
	b := &mountWriter{}
	b.line("# What the rows of session %s say was on the jig, in mm.", f.session)
	if list != nil {
		b.line("pickup = %q", f.pickup)
	}
	b.line("batch = %q", f.batch)
	if len(f.magnets) > 0 {
		var names []string
		for at := range slices.Max(slices.Collect(maps.Keys(f.magnets))) {
			names = append(names, strconv.Quote(f.magnets[at+1]))
		}
		b.line("magnets = [%s]", strings.Join(names, ", "))
	}
	if f.gap > 0 {
		b.line("probe_gap_mm = %s", figure(f.gap))
	}
	if list != nil {
		b.heights(list)
		b.strings(list, lib)
	}
	return b.String(), nil
}

// list is the strings from the first on; nil for loose magnets.
func (f *filedMount) list() (list []record.Reading, err error) {
	for n := range len(f.strings) {
		r, ok := f.strings[n+1]
		if !ok {
			return nil, bad("session %q: no row that counts says what was under string %d", f.session, n+1)
		}
		list = append(list, r)
	}
	return list, nil
}

// mountWriter writes the lines of a mount.
type mountWriter struct{ strings.Builder }

func (w *mountWriter) line(format string, args ...any) { fmt.Fprintf(w, format+"\n", args...) }

func (w *mountWriter) heights(list []record.Reading) {
	switch list[0].Under {
	case profiles.UnderBlade:
		w.line("poles = %q", profiles.Blade)
	case profiles.UnderTwoPoles:
		w.line("poles_per_string = 2")
	case profiles.UnderShared:
		w.line("strings_per_pole = 2")
	}
	var poles, heights []string
	for _, r := range list {
		poles, heights = append(poles, figure(r.PoleHeight)), append(heights, figure(r.StringHeight))
	}
	w.line("pole_heights_mm = [%s]", strings.Join(poles, ", "))
	w.line("string_heights_mm = [%s]", strings.Join(heights, ", "))
}

// strings names the set where the shop has it as the record does, and lists them elsewhere.
func (w *mountWriter) strings(list []record.Reading, lib *profiles.Library) {
	set := list[0].StringSet
	known, _ := lib.Set(set)
	if slices.EqualFunc(known.Strings, list, sameString) {
		w.line("set = %q", set)
		return
	}
	if set != "" {
		w.line("# The record calls these strings %q. To keep the name, write them as a set of this name into", set)
		w.line("# strings.toml, and set = %q in place of what follows.", set)
	}
	for _, r := range list {
		s := stringOf(r)
		w.line("\n[[string]]\ngauge_mm = %s\ncore_mm = %s\nwrap = %q", figure(s.Gauge), figure(s.Core), s.Wrap)
	}
}

// stringOf is the string of a row, what it leaves out filled in as models do.
func stringOf(r record.Reading) profiles.String {
	gauge, wrap := cell.GaugeAndWrap(&r)
	return profiles.String{Gauge: cmp.Or(gauge, r.Core), Core: r.Core, Wrap: wrap}
}

func sameString(s profiles.String, r record.Reading) bool {
	const rounding = 1e-4 // mm: files have four digits
	o := stringOf(r)
	return math.Abs(s.Gauge-o.Gauge) < rounding && math.Abs(s.Core-o.Core) < rounding && s.Wrap == o.Wrap
}

func figure(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
