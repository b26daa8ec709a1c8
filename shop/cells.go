package shop

import (
	"context"
	"iter"
	"maps"
	"math"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/gain"
	"evenpole/fit/screen"
	"evenpole/profiles"
)

// Source is readings, and what belongs to them, wherever they come from.
type Source struct {
	Readings iter.Seq2[record.Reading, error]
	Gains    gain.Book                             // of the jigs; may be nil
	Fields   iter.Seq2[record.FieldReading, error] // may be nil
	Magnets  map[string][]string                   // of pickups, string 1 first; may be nil
}

// Cells makes of sources the cells that models are fitted to. Readings are
// corrected by the gains and gathered; the fields of magnets are added; then the
// record is screened for mistakes, as a weak magnet that was probed is no mistake.
// The first error of a source is returned as it is, and that of ctx when it is done.
func Cells(ctx context.Context, sources ...Source) (*cell.Data, error) {
	data, err := gather(ctx, sources)
	if err != nil {
		return nil, err
	}
	return screened(ctx, data, sources, nil)
}

// screened adds the fields of magnets to cells that were gathered, and screens them,
// unless it is known what is found; known may be nil.
func screened(ctx context.Context, data *cell.Data, sources []Source, known *finding) (*cell.Data, error) {
	var all []iter.Seq2[record.FieldReading, error]
	magnets := map[string][]string{}
	for _, s := range sources {
		if s.Fields != nil {
			all = append(all, until(ctx, "field readings", s.Fields))
		}
		maps.Copy(magnets, s.Magnets)
	}
	if all != nil {
		if err := data.AddFields(inTurn(all), magnets); err != nil {
			return nil, err
		}
	}
	data.BringRelative()
	data.JoinDriven()
	if known != nil && known.recall(data) {
		return data, nil
	}
	record.Tell(ctx, "looking for mistakes in %s", profiles.Count(len(data.Cells), "cell"))
	if _, err := screen.Screen(ctx, data); err != nil {
		return nil, err
	}
	if known != nil {
		known.note(data)
	}
	return data, nil
}

// gather makes cells of readings alone.
func gather(ctx context.Context, sources []Source) (*cell.Data, error) {
	var all []iter.Seq2[record.Reading, error]
	for _, s := range sources {
		all = append(all, s.Gains.Apply(until(ctx, "readings", s.Readings)))
	}
	return cell.Gather(all...)
}

// inTurn is one file's rows after the other's.
func inTurn[T any](files []iter.Seq2[T, error]) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		for _, rows := range files {
			for x, err := range rows {
				if !yield(x, err) {
					return
				}
			}
		}
	}
}

// Cells makes the cells of the shop's record.
func (s *Shop) Cells(ctx context.Context) (*cell.Data, error) {
	return CellsOf(ctx, []string{s.folder.ReadingsFile()}, "")
}

// CellsOrNone is Cells; there are none where there is no record yet.
func (s *Shop) CellsOrNone(ctx context.Context) (*cell.Data, error) {
	if s.folder == "" || Missing(s.folder.ReadingsFile()) {
		return &cell.Data{}, nil
	}
	return s.Cells(ctx)
}

// CellsOf makes one record's cells of readings files, each with the calibrations
// beside it, and of a file of field readings; "" is the one beside the first
// readings, if it is there.
//
// What is kept of a shop's cells is believed where it can be: see cellscache.go.
func CellsOf(ctx context.Context, files []string, fieldsFile string) (*cell.Data, error) {
	data, _, err := cellsOf(ctx, files, fieldsFile, math.MaxInt64)
	return data, err
}

// cellsOf is CellsOf. Where the only file is a shop's own, and of more than mostUnread
// bytes of it nothing is kept yet, it says what to keep of it.
func cellsOf(ctx context.Context, files []string, fieldsFile string, mostUnread int64) (data *cell.Data, keep keeping, err error) {
	sources, err := sourcesOf(files)
	if err != nil {
		return nil, keep, err
	}
	beside := folderOf(files[0])
	if fieldsFile == "" && !Missing(beside.fieldsFile()) {
		fieldsFile = beside.fieldsFile()
	}
	if fieldsFile != "" {
		sources[0].Fields, sources[0].Magnets = fieldRows(fieldsFile), beside.magnets()
	}
	if len(files) == 1 && files[0] == beside.ReadingsFile() && (mostUnread < math.MaxInt64 || !Missing(beside.cells())) {
		data, keep, err = gatherKept(ctx, beside, sources[0].Gains, mostUnread)
	} else {
		data, err = gather(ctx, sources)
	}
	if err == nil {
		data, err = screened(ctx, data, sources, keep.found)
	}
	return data, keep, err
}

// keeping is what is to be kept of a record.
type keeping struct {
	cells keptFile
	found *finding // nil where nothing is kept of what a fit finds
}

// write writes all of it, with the model that was fitted.
func (k *keeping) write(r *fit.Result) {
	k.cells.write()
	if k.found != nil {
		k.found.keepFound(r)
	}
}

// gatherKept makes cells of a record's readings alone, from what is kept of them and the
// rows that follow. Where more than mostUnread bytes follow it says what to keep.
func gatherKept(ctx context.Context, f folder, book gain.Book, mostUnread int64) (data *cell.Data, keep keeping, err error) {
	k, err := openRecordCells(ctx, f, book)
	if err != nil {
		return nil, keep, err
	}
	defer k.stand.Close()
	x := k.resume()
	if x == nil {
		if x, err = cell.Begin(k.rows(k.stand.Readings())); err != nil {
			return nil, keep, err
		}
	}
	if k.unread > mostUnread {
		keep.cells = keptFile{k.cells(), k.pack(x)}
	}
	data = x.Data()
	if keep.cells.text != nil || k.unread < k.stand.Size() {
		keep.found = k.finding()
	}
	return data, keep, nil
}

// gathered makes cells of the shop's readings alone, of what is kept of them where there is
// such a thing.
func (f folder) gathered(ctx context.Context) (*cell.Data, error) {
	sources, err := sourcesOf([]string{f.ReadingsFile()})
	if err != nil {
		return nil, err
	}
	if Missing(f.cells()) {
		return gather(ctx, sources)
	}
	data, _, err := gatherKept(ctx, f, sources[0].Gains, math.MaxInt64)
	return data, err
}

// sourcesOf are readings files, each with the calibrations beside it.
func sourcesOf(files []string) ([]Source, error) {
	var out []Source
	for _, name := range files {
		book, err := folderOf(name).gains()
		if err != nil {
			return nil, err
		}
		out = append(out, Source{Readings: readingRows(name), Gains: book})
	}
	return out, nil
}

// magnets says which magnets the pickups of a shop have, by its mounts. A mount
// that cannot be read, since its string set is gone or there is no shop, says
// nothing: field readings themselves mostly do.
func (f folder) magnets() map[string][]string {
	lib, err := profiles.LoadLibrary(string(f))
	if err != nil {
		return nil
	}
	magnets := map[string][]string{}
	for _, file := range f.mounts() {
		if m, err := profiles.ReadMount(file, lib); err == nil && m.Pickup != "" && len(m.Magnets) > 0 {
			magnets[m.Pickup] = m.Magnets
		}
	}
	return magnets
}
