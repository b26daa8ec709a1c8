package share

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
	"evenpole/profiles"
)

// A Kind is what a name is a name of.
type Kind string

// The kinds of things that benches name, each in its own way.
const (
	Jig       Kind = "jig"
	Pickup    Kind = "pickup"
	Batch     Kind = "batch"
	StringSet Kind = "set"
)

// Kinds are all kinds.
func Kinds() []Kind { return []Kind{Jig, Pickup, Batch, StringSet} }

// ParseKind reads the name of a kind.
func ParseKind(text string) (Kind, error) { return profiles.OneOf(text, Kinds()) }

// A Word is what a person decided of a name that two benches use.
type Word string

// The words.
const (
	Same  Word = "same"  // both mean one thing
	Apart Word = "apart" // they are two things
)

// decision is a row of names.csv: of two benches that use a name. The last row counts.
type decision struct {
	Time         time.Time
	Kind         Kind
	Name         string
	Bench, Other string
	Word         Word
	Reason       string
}

var decisionColumns = table.New(
	table.Time("time", func(d *decision) *time.Time { return &d.Time }),
	table.Word("kind", func(d *decision) *Kind { return &d.Kind }, Kinds()),
	table.Text("name", func(d *decision) *string { return &d.Name }).Checked(profiles.IsName, profiles.WantName),
	table.Text("bench", func(d *decision) *string { return &d.Bench }).Checked(profiles.IsName, profiles.WantName),
	table.Text("other", func(d *decision) *string { return &d.Other }).Checked(profiles.IsName, profiles.WantName),
	table.Word("decision", func(d *decision) *Word { return &d.Word }, []Word{Same, Apart}),
	table.Text("reason", func(d *decision) *string { return &d.Reason }).Checked(profiles.IsNote, profiles.WantNote),
)

// pair is two benches that use one name.
type pair struct {
	kind         Kind
	name         string
	bench, other string // in order
}

func pairOf(kind Kind, name, a, b string) pair {
	return pair{kind, name, min(a, b), max(a, b)}
}

// words are what all benches decided of pairs. Each bench's last word counts; where benches
// do not agree things stay apart, so that the order in which words come changes nothing.
type words map[pair]Word

// add takes in a file of decisions; there is none where it is missing.
func (w words) add(path string) error {
	text, err := readSmall(path, mostDocument)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	last := words{}
	for d, err := range table.Read(bytes.NewReader(text), path, decisionColumns, decisionColumns.Names) {
		if err != nil {
			return err
		}
		last[pairOf(d.Kind, d.Name, d.Bench, d.Other)] = d.Word
	}
	for p, word := range last {
		if w[p] != Apart {
			w[p] = word
		}
	}
	return nil
}

// note notes what a person says of a name that benches use: of each two of them.
func (b *Bench) note(kind Kind, name string, benches []string, word Word, reason string) error {
	release, err := b.takeTurn()
	if err != nil {
		return err
	}
	defer release()
	if len(benches) < 2 {
		return &InputError{fmt.Sprintf("%s %q: expected two benches or more that use it, got %d", kind, name, len(benches))}
	}
	if !profiles.IsNote(reason) {
		return &InputError{"reason: expected " + profiles.WantNote}
	}
	path := b.shared(namesFile)
	var text bytes.Buffer
	var rows [][]string
	switch before, err := readSmall(path, mostDocument); {
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return err
	case len(before) == 0:
		rows = append(rows, decisionColumns.Names)
	case before[len(before)-1] != '\n': // an editor took the end of the last line
		text.WriteByte('\n')
	}
	for i, bench := range benches {
		for _, other := range benches[i+1:] {
			rows = append(rows, decisionColumns.Row(&decision{b.shop.Now(), kind, name, bench, other, word, reason}))
		}
	}
	if err := table.WriteLines(&text, false, rows...); err != nil {
		return err
	}
	return disk.Append(path, text.Bytes())
}

// A Clash is one name that benches use for what may be different things. What their rows
// say of it is kept apart until a person decides.
type Clash struct {
	Kind     Kind     `json:"kind"`
	Name     string   `json:"name"`
	Benches  []string `json:"benches"` // that use it, of which at least two are not decided on
	Evidence string   `json:"evidence"`
}

// use is what one bench's rows tell of a name.
type use struct {
	first   string          // what the first of them says of a pickup or a batch
	strings map[string]bool // of a set: each string, its core, gauge and wrap
	boots   map[string]bool // of a jig: its power-ups
}

// uses are those of all names: by kind, name and bench.
type uses map[Kind]map[string]map[string]*use

func (u uses) of(kind Kind, name, bench string) *use {
	names := u[kind]
	if names == nil {
		names = map[string]map[string]*use{}
		u[kind] = names
	}
	if names[name] == nil {
		names[name] = map[string]*use{}
	}
	x := names[name][bench]
	if x == nil {
		x = &use{strings: map[string]bool{}, boots: map[string]bool{}}
		names[name][bench] = x
	}
	return x
}

// namer gives names of benches the names that they have in the shared record: by kind,
// bench and name; what is not in it keeps its name.
type namer map[Kind]map[string]map[string]string

func (n namer) set(kind Kind, bench, name, to string) {
	if n[kind] == nil {
		n[kind] = map[string]map[string]string{}
	}
	if n[kind][bench] == nil {
		n[kind][bench] = map[string]string{}
	}
	n[kind][bench][name] = to
}

func (n namer) of(kind Kind, bench, name string) string {
	if to, ok := n[kind][bench][name]; ok {
		return to
	}
	return name
}

// settle decides which names mean one thing. alike tells of two benches' names whether what
// their rows say shows by itself that they do; otherwise it says what tells.
func (u uses) settle(w words, alike func(kind Kind, name, a, b string) (same bool, evidence string)) (namer, []Clash) {
	n := namer{}
	var clashes []Clash
	for _, kind := range Kinds() {
		for name, by := range u[kind] {
			if len(by) < 2 {
				continue
			}
			if c, open := settleName(n, w, kind, name, by, alike); open {
				clashes = append(clashes, c)
			}
		}
	}
	slices.SortFunc(clashes, func(a, b Clash) int {
		return cmp.Or(cmp.Compare(slices.Index(Kinds(), a.Kind), slices.Index(Kinds(), b.Kind)), strings.Compare(a.Name, b.Name))
	})
	return n, clashes
}

func settleName(n namer, w words, kind Kind, name string, by map[string]*use, alike func(Kind, string, string, string) (bool, string)) (c Clash, open bool) {
	var benches []string
	for bench := range by {
		benches = append(benches, bench)
	}
	slices.Sort(benches)
	group := map[string]string{} // the first bench of each one's
	for _, bench := range benches {
		group[bench] = bench
	}
	word := map[pair]Word{}
	var evidence []string
	asked := map[string]bool{}
	for i, a := range benches {
		for _, b := range benches[i+1:] {
			p := pairOf(kind, name, a, b)
			word[p] = w[p]
			if word[p] != "" || name == "" {
				continue
			}
			same, why := alike(kind, name, a, b)
			if same {
				word[p] = Same
				continue
			}
			asked[a], asked[b] = true, true
			if why != "" && !slices.Contains(evidence, why) {
				evidence = append(evidence, why)
			}
		}
	}
	join(benches, group, func(a, b string) Word { return word[pairOf(kind, name, a, b)] })
	apart := false
	for _, bench := range benches {
		apart = apart || group[bench] != group[benches[0]]
	}
	if !apart {
		return c, false
	}
	for _, bench := range benches {
		n.set(kind, bench, name, cmp.Or(name, "unnamed")+"@"+group[bench])
	}
	return Clash{kind, name, benches, strings.Join(evidence, "; ")}, len(asked) > 0
}

// join puts benches into one group whose names mean one thing, unless one of these was said
// to be apart from one of those.
func join(benches []string, group map[string]string, word func(a, b string) Word) {
	for i, a := range benches {
		for _, b := range benches[i+1:] {
			if word(a, b) != Same || group[a] == group[b] {
				continue
			}
			apart := false
			for _, x := range benches {
				for _, y := range benches {
					apart = apart || group[x] == group[a] && group[y] == group[b] && word(x, y) == Apart
				}
			}
			if apart {
				continue
			}
			from, to := max(group[a], group[b]), min(group[a], group[b])
			for _, x := range benches {
				if group[x] == from {
					group[x] = to
				}
			}
		}
	}
}

// decisionsOf is where a bench's decisions stand.
func (b *Bench) decisionsOf(x *replica) string {
	if x.bench == b.Bench {
		return b.shared(namesFile)
	}
	return filepath.Join(x.dir, namesFile)
}
