package record

import (
	"slices"
	"strconv"

	"evenpole/capture/record/table"
)

// importJig is the jig of readings that came from a spreadsheet without a jig,
// boot and seq of their own. Their boot is a digest of the session's name, and
// they are numbered one by one.
const importJig = "import"

// Imported reports whether an import numbered the reading, and no jig.
func (id ID) Imported() bool { return id.Jig == importJig }

// Where a row of a spreadsheet is already.
type whereabouts int

const (
	nowhere       whereabouts = iota
	inRecord                  // its reading stands in the record
	wasTakenBack              // the record has its reading, and has taken it back
	inOtherImport             // a reading of another import says the same
)

// digestBesideName is the digest of what a row says beside its session and the name
// of its reading.
func digestBesideName(l *table.Layout, row table.Row) string {
	row = slices.Clone(row)
	for _, name := range []string{"session", "jig", "boot", "seq"} {
		*l.Cell(row, name) = ""
	}
	return digestOf(l, row)
}

// withName returns a row with the name of its reading.
func withName(l *table.Layout, row table.Row, id ID) table.Row {
	row = slices.Clone(row)
	*l.Cell(row, "jig"), *l.Cell(row, "boot"), *l.Cell(row, "seq") = id.Jig, id.Boot, strconv.FormatUint(uint64(id.Seq), 10)
	return row
}

// whysAmong tells of each of some rows why it does not count among them: Repeated,
// TakenBack, TakesBack, or Counts.
func whysAmong(rows []table.Row, l *table.Layout) []Reason {
	var s Standing
	refs, whys := make([]Ref, len(rows)), make([]Reason, len(rows))
	for i, row := range rows {
		a := aboutRow(l, row)
		refs[i], whys[i] = s.Meet(&a)
	}
	for i, why := range whys {
		switch {
		case why == TakesBack, why == Repeated:
		case s.IsTakenBack(refs[i]):
			whys[i] = TakenBack
		default:
			whys[i] = Counts
		}
	}
	return whys
}

// An importedName is what makes a row of a spreadsheet the same as one of the
// record: a row that takes a reading back is another than the reading's own.
type importedName struct {
	id   ID
	back bool
}

func importedNameOf(a *about) importedName { return importedName{a.id, a.status == Retracted} }

// An importedRow is a row of an import, by the digest of what it says beside its name.
type importedRow struct {
	id     ID
	digest string
}

// recorded is what the record has of a spreadsheet's rows, and what is added to it.
type recorded struct {
	standing Standing
	boot     string               // of rows that get their names from the import
	last     uint32               // the highest number under that boot
	rows     map[importedName]int // of the spreadsheet's names: how many rows the record has
	met      map[importedName]int // how many the spreadsheet had so far
	gone     map[ID]bool          // the record had taken them back
	ours     map[string]int       // readings of the same import that stand, by digest
	back     map[string][]ID      // those that were taken back
	others   map[string]bool      // digests of readings of other imports that stand
}

// readRecorded reads a file of the record for what it has of some rows of an import.
func readRecorded(path, boot string, sheet []table.Row, l *table.Layout) (*recorded, error) {
	p := &recorded{
		boot: boot, rows: map[importedName]int{}, met: map[importedName]int{}, gone: map[ID]bool{},
		ours: map[string]int{}, back: map[string][]ID{}, others: map[string]bool{},
	}
	for _, row := range sheet {
		a := aboutRow(l, row)
		p.rows[importedNameOf(&a)] = 0
	}
	var imported []importedRow
	err := scanFile(path, l, func(row table.Row, _ table.Place, _ *RowError) {
		if row == nil {
			return
		}
		a := aboutRow(l, row)
		p.standing.Meet(&a)
		if name := importedNameOf(&a); a.named {
			if _, ok := p.rows[name]; ok {
				p.rows[name]++
			}
		}
		if a.named && a.id.Jig == importJig && a.status != Retracted {
			imported = append(imported, importedRow{a.id, digestBesideName(l, row)})
		}
	})
	for name, n := range p.rows {
		if n > 0 && !p.standing.Stands(name.id) && !p.standing.NeverStands(name.id) {
			p.gone[name.id] = true
		}
	}
	p.sort(imported)
	return p, err
}

// sort tells rows of imports by whether their readings stand. What a row said before
// its reading was filed anew is in the record as well.
func (p *recorded) sort(imported []importedRow) {
	met := map[importedRow]bool{}
	for _, x := range imported {
		stands := p.standing.Stands(x.id) || p.standing.NeverStands(x.id)
		switch {
		case met[x]:
		case x.id.Boot != p.boot:
			p.others[x.digest] = p.others[x.digest] || stands
		case stands:
			p.ours[x.digest]++
		default:
			p.back[x.digest] = append(p.back[x.digest], x.id)
		}
		met[x] = true
		if x.id.Boot == p.boot {
			p.last = max(p.last, x.id.Seq)
		}
	}
}

// findNamed finds the next row of the spreadsheet, which has a name; why says what it
// is among the spreadsheet's own rows. A row that takes back or that the spreadsheet
// takes back itself is in the record where that has as many of them.
func (p *recorded) findNamed(a *about, why Reason) whereabouts {
	name := importedNameOf(a)
	if why == Repeated {
		return inRecord
	}
	p.met[name]++
	counted := why != Counts || p.standing.NeverStands(a.id)
	switch {
	case !name.back && p.standing.Stands(a.id), counted && p.met[name] <= p.rows[name]:
		return inRecord
	case !name.back && p.gone[a.id]:
		return wasTakenBack
	}
	return nowhere
}

// findUnnamed finds a row of the spreadsheet that has no name, and gives it one. It is
// in the record where a reading of this import that stands says the same; equal rows
// count as often as they stand, wherever they stand in the spreadsheet by now.
func (p *recorded) findUnnamed(digest string) (ID, whereabouts) {
	if p.ours[digest] > 0 {
		p.ours[digest]--
		return ID{}, inRecord
	}
	if ids := p.back[digest]; len(ids) > 0 {
		p.back[digest] = ids[1:]
		return ids[0], wasTakenBack
	}
	p.last++
	id := ID{importJig, p.boot, p.last}
	if p.others[digest] {
		return id, inOtherImport
	}
	return id, nowhere
}
