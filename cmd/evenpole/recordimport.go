package main

import (
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/profiles"

	"github.com/spf13/cobra"
)

type importOptions struct {
	fields  bool
	session string
	columns []string
	set     []string
	skip    bool
	gone    bool
	yes     bool
}

func newImportCmd(e *env) *cobra.Command {
	var o importOptions
	cmd := &cobra.Command{
		Use:   "import FILE [--yes]",
		Short: "Bring readings in from a spreadsheet",
		Long: `Shows how the columns and rows of a CSV file were understood and, with --yes, adds
the rows that the record does not have. Importing twice adds nothing; of a
spreadsheet that has grown, what is new.

Columns go by their headers, in any writing: "Pole height (in)" is pole_height_mm,
from inches. --column names one that is called otherwise, --set gives a value to a
column that the file lacks:

    evenpole record import old.csv --column 'Out=rms_mv' --set pickup=T-3

Semicolons and tabs between cells and decimal commas are understood, and inches
(in), thousandths of an inch (thou), uV, V, T, uT and G. Lengths that a mount file
could not have are refused: they are mistyped, or in another unit than the header
says. With rows that are refused nothing is added, unless --skip-refused says to go on without
them. The file may be of any size; the first 1000 rows that are refused are listed. A reading that was taken back is not in the record, and stands again;
--skip-taken-back leaves such rows out.

A session that the file names becomes one of the import, such as import-old-s003; readings that
this shop captured itself, as sessions.csv says, come back into their own sessions. So a
readings.csv that was lost or cannot be read comes back from any copy or spreadsheet of it, and
a copy of the shop that went on elsewhere brings in what it has more.`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error { return runImport(e, args[0], o) },
	}
	f := cmd.Flags()
	f.BoolVar(&o.fields, "fields", false, "the rows are field readings")
	f.StringVar(&o.session, "session", "", "file the rows under this `session` (default: import- and the file's name)")
	f.StringArrayVar(&o.columns, "column", nil, "`HEADER=COLUMN`: what a header stands for (repeatable)")
	f.StringArrayVar(&o.set, "set", nil, "`COLUMN=VALUE`: what stands where the file has nothing (repeatable)")
	f.BoolVar(&o.skip, "skip-refused", false, "leave out rows that cannot be read")
	f.BoolVar(&o.gone, "skip-taken-back", false, "leave out rows of readings that the record has taken back")
	f.BoolVar(&o.yes, "yes", false, "add the rows to the record")
	return cmd
}

func runImport(e *env, name string, o importOptions) error {
	s, err := e.theShop()
	if err != nil {
		return err
	}
	opt := record.ImportOptions{Fields: o.fields, Session: o.session, SkipTakenBack: o.gone}
	if opt.Columns, err = pairs("column", o.columns); err != nil {
		return err
	}
	if opt.Set, err = pairs("set", o.set); err != nil {
		return err
	}
	f, err := disk.OpenRepeatedly(name)
	if err != nil {
		return err
	}
	defer f.Close()
	m, err := record.ReadImport(f, name, s.Dir(), opt)
	if err != nil {
		return withHint(err, columnHint(err)...)
	}
	if !e.json {
		printImport(e, m)
	}
	added, why := 0, o.against(m)
	if o.yes && why == nil && m.New() > 0 {
		err = e.withWriter(func(w *record.Writer) (err error) {
			added, err = w.Import(m)
			return err
		})
		if err != nil {
			return err
		}
	}
	return importDone(e, m, o, added, why)
}

// against returns why nothing may be added, nil when something may.
func (o *importOptions) against(m *record.Import) error {
	switch {
	case m.RefusedRows > 0 && !o.skip:
		hints := []string{"mend the rows that were refused, or leave them out with --skip-refused"}
		if slices.ContainsFunc(m.Refused, func(bad *record.RowError) bool { return strings.Contains(bad.Msg, "if that is") }) {
			hints = append(hints, "look at the unit of every column of lengths: a pole height in inches can pass for millimetres")
		}
		return withHint(badInput("nothing added: %d of %s refused, the first: %w", m.RefusedRows, profiles.Count(m.Rows, "row"), m.Refused[0]), hints...)
	case m.Elsewhere > 0 && m.Elsewhere == m.New() && o.session == "":
		return withHint(badInput("nothing added: another import has rows that say the same: is it the same spreadsheet under another name?"), "if it is not, name a --session")
	}
	return nil
}

// importDocument is what --json prints.
type importDocument struct {
	*record.Import
	Added int `json:"added"`
}

var importJSON = newDocument[importDocument]()

// importDone says what came of it; against is why nothing was added, nil when something
// could be.
func importDone(e *env, m *record.Import, o importOptions, added int, against error) error {
	switch {
	case e.json:
		if err := importJSON.write(e, importDocument{m, added}); err != nil {
			return err
		}
	case against != nil:
	case m.New() == 0:
		e.print("nothing to add")
	case o.yes:
		e.print("%s added to %s", profiles.Count(added, "row"), m.Into)
	default:
		e.print("nothing added yet: --yes adds %s to %s", profiles.Count(m.New(), "row"), m.Into)
	}
	return against
}

// columnHint helps with a header that was not understood.
func columnHint(err error) []string {
	if strings.Contains(err.Error(), "expected in the header") {
		return []string{"name a column that is called otherwise: --column 'Its header=rms_mv'; give one that is not there: --set core_mm=0.254"}
	}
	return nil
}

// pairs reads NAME=VALUE flags.
func pairs(flag string, texts []string) (map[string]string, error) {
	all := map[string]string{}
	for _, text := range texts {
		name, value, ok := strings.Cut(text, "=")
		if name, value = strings.TrimSpace(name), strings.TrimSpace(value); !ok || name == "" || value == "" {
			return nil, badInput("%s: expected NAME=VALUE, got %q", flag, text)
		} else if _, twice := all[name]; twice {
			return nil, badInput("%s: expected %q once, got it twice", flag, name)
		}
		all[name] = value
	}
	return all, nil
}

func printImport(e *env, m *record.Import) {
	titles := ""
	if m.Titles > 0 {
		titles = fmt.Sprintf(", %s over the header", profiles.Count(m.Titles, "line"))
	}
	e.print("%s: %s between cells%s%s%s", m.File, separators[m.Separator], decimals[m.Decimal], titles, zoneSaid(m.Zone))
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	for _, c := range m.Columns {
		read := c.Column
		switch {
		case read == "":
			read = "left out: not understood"
		case c.Unit != "":
			read += ", from " + c.Unit
		}
		fmt.Fprintf(tw, "  %q\t%s\n", c.Header, read)
	}
	tw.Flush()
	if len(m.Absent) > 0 {
		e.print("  not in the file: %s", strings.Join(m.Absent, ", "))
	}
	e.print("session %s: %s, %d readable, %d refused, %d in the record already", m.Session, profiles.Count(m.Rows, "row"), m.Readable, m.RefusedRows, m.Already)
	for _, bad := range m.Refused {
		e.print("  refused: %v", bad)
	}
	if more := m.RefusedRows - len(m.Refused); more > 0 {
		e.print("  refused: %s more", profiles.Count(more, "row"))
	}
	if m.Own > 0 {
		e.print("  of readings that this shop captured itself: %s, which stay in their sessions", profiles.Count(m.Own, "row"))
	}
	if m.Again > 0 {
		e.print("  %s were taken back, and will stand again: --skip-taken-back leaves them out", profiles.Count(m.Again, "reading"))
	}
	if m.Elsewhere > 0 {
		e.print("  %s of another import say the same as some of these", profiles.Count(m.Elsewhere, "row"))
	}
}

var separators = map[string]string{",": "commas", ";": "semicolons", "\t": "tabs"}

var decimals = map[string]string{",": ", decimal commas"}

func zoneSaid(zone string) string {
	switch zone {
	case "":
		return ""
	case time.Local.String():
		zone = "this machine's"
	}
	return fmt.Sprintf(", times without a zone taken as %s", zone)
}
