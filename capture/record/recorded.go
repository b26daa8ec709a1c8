package record

import (
	"crypto/sha256"
	"slices"
	"strconv"
	"strings"

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

// A sum is what a seal keeps of a digest, as bytes.
type sum [digestDigits / 2]byte

// besideName is the digest of what a row says beside its session and the name of its
// reading.
func besideName(l *table.Layout, row table.Row) sum {
	row = slices.Clone(row)
	for _, name := range []string{"session", "jig", "boot", "seq"} {
		*l.Cell(row, name) = ""
	}
	whole := sha256.Sum256(sealedText(l, row))
	return sum(whole[:digestDigits/2])
}

// withName returns a row with the name of its reading.
func withName(l *table.Layout, row table.Row, id ID) table.Row {
	row = slices.Clone(row)
	*l.Cell(row, "jig"), *l.Cell(row, "boot"), *l.Cell(row, "seq") = id.Jig, id.Boot, strconv.FormatUint(uint64(id.Seq), 10)
	return row
}

// among tells why a row does not count among the rows that were met, all of them by now:
// Repeated, TakenBack, TakesBack, or Counts. ref and why are what Meet said of the row.
func (s *Standing) among(ref Ref, why Reason) Reason {
	switch {
	case why == TakesBack, why == Repeated:
		return why
	case s.IsTakenBack(ref):
		return TakenBack
	}
	return Counts
}

// An importedName is what makes a row of a spreadsheet the same as one of the
// record: a row that takes a reading back is another than the reading's own.
type importedName struct {
	id   ID
	back bool
}

func importedNameOf(a *about) importedName { return importedName{a.id, a.status == Retracted} }

// An importedRow is a row of the record that came from a spreadsheet without a name.
type importedRow struct {
	boot int32 // in recorded.boots
	seq  uint32
	says sum // beside its name
}

// recorded is what the record has of a spreadsheet's rows, and what is added to it.
type recorded struct {
	own      *Standing            // of the spreadsheet's rows
	before   Standing             // of the record's rows
	standing Standing             // of these, and of what is added to them
	rows     map[importedName]int // of readings that either takes back: how many rows the record has
	met      map[importedName]int // how many the spreadsheet had so far

	boots    []string         // of rows of imports; the first is this import's
	bootAt   map[string]int32 // in boots
	last     uint32           // the highest number under this import's boot
	ours     map[sum]int32    // readings of this import that stand, by what they say
	back     map[sum][]uint32 // those that were taken back: their numbers
	others   map[sum]bool     // what readings of other imports say that stand
	imported []importedRow
}

// readRecorded reads a file of the record for what it has of the rows of an import. own
// has met these, and boot is that of those without a name.
func readRecorded(path, boot string, own *Standing, l *table.Layout) (*recorded, error) {
	p := &recorded{
		own: own, rows: map[importedName]int{}, met: map[importedName]int{}, bootAt: map[string]int32{},
		ours: map[sum]int32{}, back: map[sum][]uint32{}, others: map[sum]bool{},
	}
	p.bootIndex(boot)
	err := scanFile(path, l, func(row table.Row, _ table.Place, _ *RowError) {
		if row != nil {
			p.add(l, row)
		}
	})
	p.sort()
	return p, err
}

// add takes note of a row of the record.
func (p *recorded) add(l *table.Layout, row table.Row) {
	a := aboutRow(l, row)
	p.before.Meet(&a)
	p.standing.Meet(&a)
	if a.named && p.counted(a.id) {
		p.rows[importedNameOf(&a)]++
	}
	if a.named && a.id.Jig == importJig && a.status != Retracted {
		p.imported = append(p.imported, importedRow{p.bootIndex(a.id.Boot), a.id.Seq, besideName(l, row)})
	}
}

// counted tells whether the rows of a reading are told apart by how many there are: the
// spreadsheet takes it back, or it never stands.
func (p *recorded) counted(id ID) bool { return p.own.HasTakenBack(id) || p.standing.NeverStands(id) }

func (p *recorded) bootIndex(boot string) int32 {
	i, ok := p.bootAt[boot]
	if !ok {
		i = int32(len(p.boots))
		p.bootAt[strings.Clone(boot)] = i
		p.boots = append(p.boots, strings.Clone(boot))
	}
	return i
}

// sort tells rows of imports by whether their readings stand. What a row said before
// its reading was filed anew is in the record as well.
func (p *recorded) sort() {
	met := map[importedRow]struct{}{}
	for _, x := range p.imported {
		id := ID{importJig, p.boots[x.boot], x.seq}
		stands := p.before.Stands(id) || p.before.NeverStands(id)
		if x.boot == 0 {
			p.last = max(p.last, x.seq)
		}
		if _, again := met[x]; again {
			continue
		}
		met[x] = struct{}{}
		switch {
		case x.boot > 0 && stands:
			p.others[x.says] = true
		case x.boot > 0:
		case stands:
			p.ours[x.says]++
		default:
			p.back[x.says] = append(p.back[x.says], x.seq)
		}
	}
	p.imported = nil
}

// findNamed finds the next row of the spreadsheet, which has a name; why says what it
// is among the spreadsheet's own rows. A row that takes back or that the spreadsheet
// takes back itself is in the record where that has as many of them.
func (p *recorded) findNamed(a *about, why Reason) whereabouts {
	name := importedNameOf(a)
	if why == Repeated {
		return inRecord
	}
	if p.counted(a.id) {
		p.met[name]++
	}
	counted := why != Counts || p.standing.NeverStands(a.id)
	switch {
	case !name.back && p.standing.Stands(a.id), counted && p.met[name] <= p.rows[name]:
		return inRecord
	case !name.back && p.before.HasTakenBack(a.id) && !p.before.Stands(a.id) && !p.before.NeverStands(a.id):
		return wasTakenBack
	}
	return nowhere
}

// findUnnamed finds a row of the spreadsheet that has no name, by what it says, and gives
// it one. It is in the record where a reading of this import that stands says the same;
// equal rows count as often as they stand, wherever they stand in the spreadsheet by now.
func (p *recorded) findUnnamed(says sum) (ID, whereabouts) {
	if p.ours[says] > 0 {
		p.ours[says]--
		return ID{}, inRecord
	}
	id := ID{importJig, p.boots[0], 0}
	if seqs := p.back[says]; len(seqs) > 0 {
		p.back[says] = seqs[1:]
		id.Seq = seqs[0]
		return id, wasTakenBack
	}
	p.last++
	id.Seq = p.last
	if p.others[says] {
		return id, inOtherImport
	}
	return id, nowhere
}
