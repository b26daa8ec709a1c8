package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"evenpole/fit/level"
	"evenpole/fit/verdict"
	"evenpole/profiles"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

type checkOptions struct {
	order    string
	pickup   string
	out      string
	paper    string
	mounting float64 // dB; 0 = the usual
	ohm      float64
	measured bool // --resistance-ohm was given
	celsius  float64
}

func newCheckCmd(e *env) *cobra.Command {
	var o checkOptions
	cmd := &cobra.Command{
		Use:   "check --order ORDER --pickup ID",
		Short: "Check a finished pickup against its order, and write its certificate and sheet",
		Long: `Checks the latest session that was captured with purpose check: each string's
balance with its uncertainty against the order's target and tolerance. A string
conforms only when its deviation and a guard band together are within tolerance,
and is out only when they are clear of it; between, the answer is "cannot tell yet",
with how many more takes would tell.

Whoever captures a pickup until it can be told has as many chances to pass it wrongly.
So every session of it counts as a look, and every capture that added takes to a
session: the guard band is the expanded uncertainty at 96 % coverage at the first
look, little more than the 95 % of U, at 99.5 % at the second, and each further look
takes half of what is left, so that all looks together pass a string at its limit
wrongly with a chance of 2.5 % at most. It is better to take many takes at once.
Sessions with other poles, strings or string heights, and what was taken back, do not
count.

The pickup is also compared with what the shop's current model, or the handbook,
expects of it at the heights that were measured. Where more is off than the model
allows, the likeliest cause is named, with the reading that would tell: a weak or
reversed magnet, a pole or string height, two poles or strings swapped, another
string, a tilted mounting. Field readings of the pickup's poles (capture --field
all) tell of its magnets: one pole with the other side up than all others is out of
tolerance, whatever its balance. A field below a fifth of the other poles' is a magnet
that is demagnetised, or none, and tells no side.

A coil's resistance is worked out for 20 degrees Celsius, for copper wire; it is
no part of the verdict. A figure that looks like kilohm is refused, and one near 0 is
said to be a short.

Two papers are written into the shop's certificates, each as one HTML page and as a PDF.
The certificate is for the customer: maker and address from shop.toml, customer,
instrument, product and serial number from the order, strings and radius, balance with
tolerance, verdict, a place to sign, cautions; lengths in the order's units. Its QR
code leads to check_address of shop.toml, else it holds what the certificate states.
The workshop's sheet (-workshop) has heights as built, the likeliest cause, remedies,
the model and how the figures were made; its last line, also in its QR code, leads
back to the record: the shop's folder, the pickup, the session and its first reading
as jig/boot/seq.

Papers are numbered and never replaced: when a pickup is checked again and the check, or
a name on the papers, says something else, a new certificate says whose place it takes
and what changed. A coil's resistance is carried over from the certificate before when
the session is the same. A PDF has Latin, Greek, Cyrillic, Chinese, Japanese and Korean
letters; a name in others prints from the HTML page alone, and check says so.

Exit status: 0 conforms; 3 out of tolerance; 4 cannot tell yet.`,
		Args:        cobra.NoArgs,
		Annotations: map[string]string{endsItself: ""},
		RunE: func(cmd *cobra.Command, _ []string) error {
			o.measured = cmd.Flags().Changed("resistance-ohm")
			return runCheck(cmd.Context(), e, o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.order, "order", "", "order `file`")
	f.StringVar(&o.pickup, "pickup", "", "the pickup's `id`")
	f.StringVar(&o.out, "out", "", "`file`, .html or .pdf, for a copy of the customer's certificate; all papers stand in the shop's certificates")
	f.StringVar(&o.paper, "paper", "", "`size` of the PDF: a4 or letter (default: as shop.toml says, or a4)")
	f.Float64Var(&o.mounting, "mounting-db", 0, "standard uncertainty of mounting it, `dB` a string, as 'evenpole repeat' found it (default 0.15)")
	f.Float64Var(&o.ohm, "resistance-ohm", 0, "direct-current resistance of the coil, `ohm`")
	f.Float64Var(&o.celsius, "temperature-c", 20, "the coil's temperature when that was measured, `degrees` Celsius")
	required(cmd, "order", "pickup")
	e.writes(cmd)
	return cmd
}

var verdictJSON = newDocument[*verdict.Verdict]()

func runCheck(ctx context.Context, e *env, o checkOptions) error {
	s, err := e.theShop()
	if err != nil {
		return err
	}
	order, err := e.readOrder(s, o.order)
	if err != nil {
		return err
	}
	if o.mounting < 0 {
		return badInput("mounting-db: expected more than 0, got %g", o.mounting)
	}
	opt := verdict.Options{Mounting: o.mounting}
	if o.measured {
		opt.Resistance = &verdict.Measured{Ohm: o.ohm, Celsius: o.celsius}
		if err := opt.Resistance.Valid(); err != nil {
			return &inputError{err}
		}
	}
	paper, err := paperOf(e, o.paper)
	if err != nil {
		return err
	}
	if err := pageName("out", o.out); err != nil {
		return err
	}
	before, err := s.Certificates()
	if err != nil {
		return err
	}
	var notices []string
	v, err := late(ctx, e, func(ctx context.Context) (v *verdict.Verdict, err error) {
		v, notices, err = s.Check(ctx, order, o.pickup, opt, before)
		return v, err
	})
	e.warn(notices)
	if err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	written, notices, err := s.IssuePapers(v, order, before, shop.Paperwork{Units: e.units, Paper: paper, Version: version(), Copy: o.out, Replace: e.force})
	if errors.Is(err, shop.ErrLetters) {
		err = withHint(err, "name a file that ends in .html: a browser prints it")
	}
	if err != nil {
		if !e.json && exitStatus(err) == exitFailed {
			printVerdict(e, v) // which stands, though nothing of it is on paper
		}
		return err
	}
	e.warn(notices)
	if e.json {
		if err := verdictJSON.write(e, v); err != nil {
			return err
		}
	} else {
		printVerdict(e, v)
		e.print("certificate %s: %s", certificateName(v), strings.Join(eachFromHere(written), "\n  "))
	}
	switch v.Verdict {
	case verdict.OutOfTolerance:
		return exit{exitOutOfTolerance}
	case verdict.CannotTell:
		return exit{exitCannotTell}
	}
	return nil
}

// certificateName is a certificate's number, and whose place it takes.
func certificateName(v *verdict.Verdict) string {
	if v.Supersedes == 0 {
		return fmt.Sprint(v.Certificate)
	}
	return fmt.Sprintf("%d, in place of %d", v.Certificate, v.Supersedes)
}

func printVerdict(e *env, v *verdict.Verdict) {
	e.print("pickup %s against order %s: %s (session %s)", v.Pickup, v.Order, v.Verdict, v.Session)
	e.print("")
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(tw, "string\tnote\tlevel mV\tbalance dB\ttarget dB\tdeviation dB\t+- U dB\ttakes\tverdict\t\n")
	for _, s := range v.Strings {
		fmt.Fprintf(tw, "%d\t%s\t%s\t%s\t%s\t%s\t%s\t%d\t%s\t\n",
			s.Number, s.Note, plain(s.Level), plus(s.Balance), signed(s.Target), plus(s.Deviation), plain(s.Expanded), s.Takes, s.Verdict)
	}
	tw.Flush()
	e.print("")
	if v.TwoCoils() {
		e.print("poles as built: %s", rowsAsBuilt(e.units, v))
	}
	spread := "spread not known, as not every string has a level"
	if v.Spread.Known() {
		spread = "spread " + plain(v.Spread) + " dB"
	}
	e.print("%s; every string within +- %g dB of its target is wanted; U covers %.0f %%", spread, v.Tolerance, 100*v.Coverage)
	if v.Looks > 1 {
		e.print("look %d at this pickup as it is: it is judged with guard bands of up to %s dB, at %.4g %% coverage, so that looks do not add up", v.Looks, plain(v.WidestGuard()), 100*v.GuardCoverage)
	}
	if v.Diagnosis != nil {
		printDiagnosis(e, v)
	}
	for _, s := range v.Strings {
		if s.Remedy != "" {
			e.print("string %d: %s", s.Number, s.Remedy)
		}
	}
	if v.Remedy != "" {
		e.print("remedy: %s", v.Remedy)
	}
	for _, m := range v.MoreTakes {
		e.print("string %d: %s would likely tell", m.String, profiles.Count(m.Takes, "more take"))
	}
	if v.Resistance != nil {
		e.print("%s", v.Resistance)
	}
	for _, n := range v.Notes {
		e.note("note: %s", n)
	}
	e.warn(v.Warnings)
}

// rowsAsBuilt says how high the poles of both coils of a pickup stood on the jig.
func rowsAsBuilt(u profiles.Units, v *verdict.Verdict) string {
	var first, second []string
	for i := range v.Strings {
		s := &v.Strings[i]
		first, second = append(first, lengthOrDash(u, s.PoleHeight)), append(second, lengthOrDash(u, orUnknown(s.PoleHeight2)))
	}
	return fmt.Sprintf("coil 1 at %s %s; coil 2 at %s %s", strings.Join(first, ", "), u.Name(), strings.Join(second, ", "), u.Name())
}

func lengthOrDash(u profiles.Units, mm level.Figure) string {
	if !mm.Known() {
		return "-"
	}
	return u.Figure(float64(mm))
}

func orUnknown(f *level.Figure) level.Figure {
	if f == nil {
		return level.Figure(math.NaN())
	}
	return *f
}

// printDiagnosis prints how the pickup compares with what is expected of it.
func printDiagnosis(e *env, v *verdict.Verdict) {
	d := v.Diagnosis
	e.print("")
	e.print("beside what is expected of this pickup by %s", v.Model)
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	row := func(name string, cell func(s *verdict.Expected) string) {
		fmt.Fprintf(tw, "%s\t", name)
		for i := range d.Strings {
			fmt.Fprintf(tw, "%s\t", cell(&d.Strings[i]))
		}
		fmt.Fprintln(tw)
	}
	row("string", func(s *verdict.Expected) string { return fmt.Sprint(s.String) })
	row("expected balance, dB", func(s *verdict.Expected) string { return plus(s.Balance) })
	row("off by, dB", func(s *verdict.Expected) string { return plus(s.Off) })
	row("+- U of that, dB", func(s *verdict.Expected) string { return plain(s.Expanded) })
	if slices.ContainsFunc(d.Strings, func(s verdict.Expected) bool { return s.Field.Known() }) {
		row("field over the pole, mT", func(s *verdict.Expected) string { return known("%+.0f", s.Field) })
		if e.units == profiles.Inches {
			row("the same, gauss", func(s *verdict.Expected) string { return known("%+.0f", 10*s.Field) })
		}
	}
	tw.Flush()
	for _, line := range d.Say() {
		e.print("%s", line)
	}
}
