// Package folder carries a shared record through a folder: a stick that goes from bench to
// bench, or a drive that a service synchronises. Nothing runs there.
//
// The way through the package:
//
//   - bundle.go: a bundle, the file that holds what one push added, written whole and never
//     changed.
//   - folder.go: [Open], and the carrier that a folder of bundles is.
//
// The folder has one folder for each bench, and in it that bench's bundles, numbered:
//
//	north/000001.bundle
//	north/000002.bundle
//	south/000001.bundle
//
// Each bench writes to its own folder alone, so that a service that synchronises never has
// two versions of a file to choose from. A bundle that has not arrived whole, or not all of
// it, is passed over until it has; one that was altered is refused. What has another name
// is passed over, too.
package folder

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"slices"

	"evenpole/capture/record/disk"
	"evenpole/share"
)

// A Folder is a share.Carrier.
type Folder struct {
	dir string
}

// Open opens a folder, which must be there: a stick that is not in its place is no empty
// record.
func Open(dir string) (*Folder, error) {
	switch info, err := os.Stat(dir); {
	case errors.Is(err, fs.ErrNotExist):
		return nil, &share.InputError{Msg: dir + ": no such folder"}
	case err != nil:
		return nil, err
	case !info.IsDir():
		return nil, &share.InputError{Msg: dir + ": expected a folder"}
	}
	return &Folder{dir}, nil
}

// Close does nothing.
func (f *Folder) Close() error { return nil }

// mostBundles is how many bundles a bench may have.
const mostBundles = 999999

// benches are the folders that a bench can have.
func (f *Folder) benches() ([]string, error) {
	entries, err := os.ReadDir(f.dir)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, e := range entries {
		if e.IsDir() && share.CheckBench(e.Name()) == nil {
			out = append(out, e.Name())
		}
	}
	return out, nil
}

// Heads are those of the last bundles that are whole, and follow from all before.
func (f *Folder) Heads(ctx context.Context) (map[string]share.Heads, error) {
	benches, err := f.benches()
	if err != nil {
		return nil, err
	}
	out := map[string]share.Heads{}
	for _, bench := range benches {
		list, _, err := f.sound(ctx, bench)
		if err != nil {
			return nil, err
		}
		out[bench] = share.Heads{}
		if len(list) > 0 {
			out[bench] = list[len(list)-1].Heads
		}
	}
	return out, nil
}

// path is where a bench's bundle of a number is.
func (f *Folder) path(bench string, number int) string {
	return filepath.Join(f.dir, bench, fmt.Sprintf("%06d.bundle", number))
}

// sound are a bench's bundles from the first up to one that is missing, has not arrived
// whole or was altered: faults says which and why.
func (f *Folder) sound(ctx context.Context, bench string) (list []*head, faults []share.Fault, err error) {
	before := share.Heads{}
	for number := 1; number <= mostBundles; number++ {
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		path := f.path(bench, number)
		h, err := readHead(path, bench, number, before)
		switch bad := (*share.BadError)(nil); {
		case errors.Is(err, fs.ErrNotExist):
			return list, f.beyond(bench, number), nil
		case errors.As(err, &bad):
			return list, []share.Fault{{Bench: bench, Text: bad.Error()}}, nil
		case err != nil:
			return nil, nil, err
		}
		list, before = append(list, h), h.Heads
	}
	return list, nil, nil
}

// beyond tells of bundles that follow one that is missing.
func (f *Folder) beyond(bench string, missing int) []share.Fault {
	entries, _ := os.ReadDir(filepath.Join(f.dir, bench)) // where it cannot be read there is nothing to tell
	for _, e := range entries {
		if number, ok := bundleNumber(e.Name()); ok && number > missing {
			return []share.Fault{{Bench: bench, Text: fmt.Sprintf("%s is not there, and a later bundle is: has all of the folder arrived?", f.path(bench, missing))}}
		}
	}
	return nil
}

// Read returns the entries of a stream after the first so many.
func (f *Folder) Read(ctx context.Context, bench string, s share.Stream, after int64) iter.Seq2[share.Entry, error] {
	return func(yield func(share.Entry, error) bool) {
		list, _, err := f.sound(ctx, bench)
		if err != nil {
			yield(share.Entry{}, err)
			return
		}
		for _, h := range list {
			if h.Heads.Of(bench, s).N <= after {
				continue
			}
			for e, err := range h.entries(ctx) {
				if err == nil && (e.Stream != s || e.N <= after) {
					continue
				}
				if !yield(e, err) || err != nil {
					return
				}
			}
		}
	}
}

// Append writes entries into the bench's next bundle. Entries that are there are left out.
func (f *Folder) Append(ctx context.Context, bench string, entries []share.Entry) error {
	list, faults, err := f.sound(ctx, bench)
	if err != nil {
		return err
	}
	if len(faults) > 0 {
		return fmt.Errorf("%s; put it back as it was, or take it and those after it away: this bench writes them again", faults[0].Text)
	}
	before := share.Heads{}
	if len(list) > 0 {
		before = list[len(list)-1].Heads
	}
	entries = slices.DeleteFunc(slices.Clone(entries), func(e share.Entry) bool { return e.N <= before.Of(bench, e.Stream).N })
	if len(entries) == 0 {
		return nil
	}
	if err := disk.MakeDir(filepath.Join(f.dir, bench)); err != nil {
		return err
	}
	return writeBundle(f.path(bench, len(list)+1), bench, len(list)+1, before, entries)
}

// Scan reads all bundles through.
func (f *Folder) Scan(ctx context.Context) ([]share.Fault, error) {
	benches, err := f.benches()
	if err != nil {
		return nil, err
	}
	var out []share.Fault
	for _, bench := range benches {
		list, faults, err := f.sound(ctx, bench)
		if err != nil {
			return nil, err
		}
		out = append(out, faults...)
		for _, h := range list {
			for _, err := range h.entries(ctx) {
				if bad := (*share.BadError)(nil); errors.As(err, &bad) {
					out = append(out, share.Fault{Bench: bench, Text: bad.Error()})
				} else if err != nil {
					return nil, err
				}
			}
		}
	}
	return out, nil
}
