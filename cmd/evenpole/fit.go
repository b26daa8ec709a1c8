package main

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/profiles"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

type fitOptions struct {
	readings []string
	fields   string
	out      string
	use      bool
	shared   sharedFlag
}

func newFitCmd(e *env) *cobra.Command {
	var o fitOptions
	cmd := &cobra.Command{
		Use:   "fit [--readings FILE]... [--fields FILE] [--out MODEL] [--use]",
		Short: "Fit the model to the shop's record",
		Long: `Fits how a string's level follows the pole under it, to the shop's readings.csv or
to the files named. The falloff model is tried, and two log-linear ones, on pole
height and on gap; each is judged on pickups and on string sets that are left out
of the fit in turn. The one that best predicts the balance of pickups is kept; the
falloff model where that cannot be told. Where a file fields.csv lies beside the
readings, the falloff model takes the magnets' measured fields from it.

In a shop the model is written to models/, unless the shop has this very model.
It becomes the current one when it predicts pickups that it has not seen at least
as well as the model before it, or with --use. --out writes it to a file of your
choice instead. Outside a shop, without --out, nothing is written.

Of a shop's own record, what was made of its readings is kept in readings.cells, so
that the next fit reads the rows that came since, and what was found in it in
readings.found, so that no command searches it again before other rows come. You may
delete both at any time.

--shared fits the readings of all benches of a shared record (see 'evenpole share') as
they were pulled; --shared=there streams them from the shared record itself.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runFit(cmd.Context(), e, o) },
	}
	cmd.Flags().StringArrayVar(&o.readings, "readings", nil, "readings `file` to fit instead of the shop's (repeatable)")
	cmd.Flags().StringVar(&o.fields, "fields", "", "field readings `file` (default: fields.csv beside the readings, if it is there)")
	sharedFlagOf(cmd, &o.shared)
	cmd.MarkFlagsMutuallyExclusive("shared", "readings")
	cmd.MarkFlagsMutuallyExclusive("shared", "fields")
	cmd.Flags().StringVar(&o.out, "out", "", "write the model to this `file`")
	cmd.Flags().BoolVar(&o.use, "use", false, "make it the shop's current model even if it predicts worse")
	return cmd
}

// fitDocument is what --json prints.
type fitDocument struct {
	*fit.Report
	shop.Kept
}

var fitJSON = newDocument[fitDocument]()

func runFit(ctx context.Context, e *env, o fitOptions) error {
	s, err := e.shopHere()
	if err != nil {
		return err
	}
	inShop := s.Dir() != ""
	if len(o.readings) == 0 {
		if err := s.Require(); err != nil {
			return err
		}
		o.readings = []string{s.ReadingsFile()}
	}
	if o.shared != "" {
		o.readings = []string{"the shared record"}
	}
	switch {
	case o.out != "" && !shop.Missing(o.out):
		return withHint(badInput("%s is there already: a model file never changes", o.out), "choose another name")
	case o.use && (o.out != "" || !inShop):
		return badInput("--use makes a shop's model current: it wants a shop, and no --out")
	}
	ofRecord := inShop && s.IsRecord(o.readings)
	garbage := uint64(leastGarbage)
	if ofRecord {
		garbage = leastGarbageAgain
	}
	keepMemoryLow(garbage)
	fitting := shop.Fitting{Files: o.readings, Fields: o.fields, Program: version(), KeepCells: ofRecord}
	if o.shared != "" {
		source, _, done, err := e.sharedSource(ctx, o.shared)
		if err != nil {
			return err
		}
		defer done()
		fitting.Sources = []shop.Source{source}
	}
	var data *cell.Data
	result, err := late(ctx, e, func(ctx context.Context) (r *fit.Result, err error) {
		fitting.Progress = func(kind string, done, of int) { record.Tell(ctx, "%s: leaving out %d of %d", kind, done, of) }
		r, data, err = fitting.Best(ctx)
		return r, err
	})
	if err != nil {
		return err
	}
	k := shop.Kept{File: o.out, New: o.out != ""}
	switch {
	case o.out != "":
		err = shop.WriteModel(o.out, result)
	case inShop:
		k, err = s.Keep(result, data, o.use)
	}
	if err != nil {
		return err
	}
	for _, file := range o.readings { // of which the model says nothing, as it was not read
		if torn := record.TornEnd(file); torn != "" {
			result.Warnings = append(result.Warnings, fmt.Sprintf("%s: %s", file, torn))
		}
	}
	if e.json {
		return fitJSON.write(e, fitDocument{&result.Report, k})
	}
	printFit(e, o.readings, &result.Report)
	if ofRecord {
		hintAmend(e, s, result.Suspects)
	}
	printKept(e, k, o.out)
	return nil
}

func printKept(e *env, k shop.Kept, out string) {
	switch {
	case k.File == "":
		e.note("not written: name a file with --out, or run it in a shop")
		return
	case k.New:
		e.print("model written to %s", fromHere(k.File))
	default:
		e.print("the shop has this model: %s", fromHere(k.File))
	}
	switch {
	case out != "":
	case k.Current:
		e.print("it is the shop's current model: %s", k.Why)
	default:
		e.print("it does not become the shop's current model: %s", k.Why)
		e.note("hint: --use makes it current all the same")
	}
}

func printFit(e *env, files []string, r *fit.Report) {
	e.print("%s: %s, %s used in %s of %s", strings.Join(eachFromHere(files), ", "), profiles.Count(r.Readings, "row"), profiles.Count(r.Used, "take"), profiles.Count(r.Cells, "cell"), profiles.Count(r.Pickups, "pickup"))
	for _, l := range r.LeftOut {
		e.print("  left out: %v", l)
	}
	printSuspects(e, files, r.Suspects)
	e.print("")
	printReport(e, r)
	e.warn(r.Warnings)
}

// printSuspects prints the mistakes that the record seems to hold, with the lines
// of the files that they touch.
func printSuspects(e *env, files []string, list []cell.Suspect) {
	if len(list) == 0 {
		return
	}
	e.print("")
	e.print("looks like a mistake (kept as it is, but what it touches counts little):")
	for _, s := range list {
		session := ""
		if s.Session != "" {
			session = ", session " + s.Session
		}
		e.print("  pickup %s%s, lines %s: %s: %s", s.Pickup, session, spans(files, s.Rows), s.Kind, s.Cause)
	}
}

// hintAmend says how what looks like a mistake is put right, each way once a session.
func hintAmend(e *env, in *shop.Shop, list []cell.Suspect) {
	var sessions []string
	for _, s := range list {
		sessions = append(sessions, s.Session)
	}
	mounts, err := in.MountsOf(sessions)
	if err != nil {
		e.warn([]string{err.Error()})
	}
	told := map[string]bool{}
	for _, s := range list {
		hint := amendWith(e, s.Session, mounts[s.Session])
		if slices.Contains(s.Columns, "rms_mv") {
			hint = fmt.Sprintf("'evenpole record retract --session %s%s', then capture again", quoted(s.Session), e.shopFlag())
		}
		if s.Session != "" && s.OfOtherMount() {
			e.note("hint: where session %s was of pickup %s: %s", s.Session, s.Pickup, amendByOther(e, in, &s))
		}
		if s.Session != "" && !told[hint] {
			e.note("hint: where session %s is wrong: %s", s.Session, hint)
		}
		told[hint] = true
	}
}

// amendByOther is the command that files a session anew which was captured with the mount
// file of another pickup; that file is right as it is.
func amendByOther(e *env, in *shop.Shop, s *cell.Suspect) string {
	file, err := in.MountFileOf(s.Pickup)
	if err != nil {
		e.warn([]string{err.Error()})
	}
	if file == "" {
		return amendCommand(e, s.Session, "FILE") + ", with its mount file"
	}
	return amendCommand(e, s.Session, fromHere(file))
}

// amendCommand is the command that files a session anew.
func amendCommand(e *env, session, file string) string {
	return fmt.Sprintf("'evenpole record amend --session %s --mount %s%s'", quoted(session), quoted(file), e.shopFlag())
}

// amendWith says how a session is filed anew whose mount was wrong: the file to correct,
// and the command.
func amendWith(e *env, session string, m shop.MountedWith) string {
	command := func(file string) string { return amendCommand(e, session, file) }
	switch {
	case m.File != "":
		file := fromHere(m.File)
		return fmt.Sprintf("correct %s, then %s", file, command(file))
	case m.Copy != "":
		return fmt.Sprintf("correct its mount file, of which %s is a copy, then %s", fromHere(m.Copy), command("FILE"))
	}
	return fmt.Sprintf("correct its mount file, which 'evenpole mount new --session %s FILE%s' writes as it was filed, then %s", quoted(session), e.shopFlag(), command("FILE"))
}

// spans reads "12-40, 57"; lines of another file than the first are told by its
// name.
func spans(files []string, rows []cell.Span) string {
	var out []string
	for _, s := range rows {
		text := fmt.Sprint(s.First)
		if s.Last > s.First {
			text += fmt.Sprintf("-%d", s.Last)
		}
		if s.File > 0 {
			text = files[s.File] + ":" + text
		}
		out = append(out, text)
	}
	return strings.Join(out, ", ")
}

// printReport prints what a fit says of itself, but for its warnings.
func printReport(e *env, r *fit.Report) {
	e.print("model %s", r.Kind)
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "parameter\tvalue\tstandard error\tunit\tfrom data\t")
	for _, p := range r.Parameters {
		p = p.In(e.units)
		profiles.Fprintf(tw, "%s\t%.3f\t%.3f\t%s\t%.0f %%\t\n", p.Name, p.Value, p.SE, p.Unit, 100*p.FromData)
	}
	tw.Flush()
	e.print("")
	e.print("left in a cell's level: %.2f dB", r.ResidualSD)
	e.print("pickups left out and predicted from the others: balance %s, level %s (rms)", decibels(r.CVBalance), decibels(r.CVLevel))
	e.print("string sets left out: balance %s", decibels(r.CVSet))
	for _, s := range r.Compared {
		if s.Kind != r.Kind {
			e.print("  %s would have: balance %s, level %s; string sets %s", s.Kind, decibels(s.CVBalance), decibels(s.CVLevel), decibels(s.CVSet))
		}
	}
	printFolds(e, r)
	if d := r.Drift; d != nil {
		e.print("drift of levels from %s to %s: %s dB per month (Mann-Kendall test, p = %.2g)", day(d.From), day(d.To), signed(d.PerMonth), d.P)
	}
}

// printFolds prints what leaving pickups and string sets out missed, the worst
// of each first.
func printFolds(e *env, r *fit.Report) {
	if r.CVBalance == nil && r.CVSet == nil {
		return
	}
	const most = 8 // of each: who wants all takes --json
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "\nleft out\tcells\tbalance\tlevel")
	for _, folds := range [][]fit.Fold{r.CVPickups, r.CVSets} {
		folds = slices.DeleteFunc(slices.Clone(folds), func(f fit.Fold) bool { return f.Cells == 0 })
		slices.SortStableFunc(folds, func(a, b fit.Fold) int { return cmp.Compare(orZero(b.Balance), orZero(a.Balance)) })
		for _, f := range folds[:min(most, len(folds))] {
			remark := ""
			if len(f.NewWraps) > 0 {
				remark = "\tnothing else has its wrap: " + wrapList(f.NewWraps)
			}
			fmt.Fprintf(tw, "%s\t%d\t%s\t%s%s\n", f.Name, f.Cells, decibels(f.Balance), decibels(f.Level), remark)
		}
		if n := len(folds) - most; n > 0 {
			fmt.Fprintf(tw, "and %d that missed by less\n", n)
		}
	}
	tw.Flush()
}
