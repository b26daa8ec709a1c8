package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/level"
	"evenpole/fit/verdict"
	"evenpole/profiles"
	"evenpole/report"

	"github.com/spf13/cobra"
)

// certificatesDir is where a shop's certificates go.
const certificatesDir = "certificates"

type checkOptions struct {
	order    string
	pickup   string
	out      string
	paper    string
	mounting float64 // dB; 0 = the usual
	ohm      float64 // 0 = not measured
	celsius  float64
}

func newCheckCmd(e *env) *cobra.Command {
	var o checkOptions
	cmd := &cobra.Command{
		Use:   "check --order ORDER --pickup ID",
		Short: "Check a finished pickup against its order, and write its certificate",
		Long: `Checks the latest session that was captured with purpose check: each string's
balance with its uncertainty against the order's target and tolerance. A string
conforms only when its deviation and its uncertainty together are within
tolerance, and is out only when they are clear of it; between, the answer is
"cannot tell yet", with how many more takes would tell.

The pickup is also compared with what the shop's current model, or the handbook,
expects of it at the heights that were measured. Where more is off than the model
allows, the likeliest cause is named, with the reading that would tell: a weak or
reversed magnet, a pole or string height, two poles or strings swapped, another
string, a tilted mounting. Field readings of the pickup's poles (capture --field
all) tell of its magnets.

A coil's resistance is worked out for 20 degrees Celsius, for copper wire; it is
no part of the verdict.

The certificate is written as one HTML page and as a PDF. Its last line, also in
its QR code, leads back to the record: the shop's folder, pickup and session, and
the session's first reading as jig/boot/seq.

Exit status: 0 conforms; 3 out of tolerance; 4 cannot tell yet.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return runCheck(e, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.order, "order", "", "order `file`")
	f.StringVar(&o.pickup, "pickup", "", "the pickup's `id`")
	f.StringVar(&o.out, "out", "", "certificate `file`, .html or .pdf (default: both, certificates/ORDER-PICKUP in the shop)")
	f.StringVar(&o.paper, "paper", "a4", "`size` of the PDF: a4 or letter")
	f.Float64Var(&o.mounting, "mounting-db", 0, "standard uncertainty of mounting it, `dB` a string, as 'evenpole repeat' found it (default 0.15)")
	f.Float64Var(&o.ohm, "resistance-ohm", 0, "direct-current resistance of the coil, `ohm`")
	f.Float64Var(&o.celsius, "temperature-c", 20, "the coil's temperature when that was measured, `degrees` Celsius")
	required(cmd, "order", "pickup")
	return cmd
}

func runCheck(e *env, o checkOptions) error {
	dir, err := e.shopDir()
	if err != nil {
		return err
	}
	order, err := e.readOrder(o.order)
	if err != nil {
		return err
	}
	if o.mounting < 0 {
		return badInput("mounting-db: expected more than 0, got %g", o.mounting)
	}
	opt := verdict.Options{Mounting: o.mounting}
	if o.ohm != 0 {
		opt.Resistance = &verdict.Measured{Ohm: o.ohm, Celsius: o.celsius}
		if err := opt.Resistance.Valid(); err != nil {
			return &inputError{err}
		}
	}
	paper, err := report.ParsePaper(o.paper)
	if err != nil {
		return badInput("paper: %v", err)
	}
	if err := pageName("out", o.out); err != nil {
		return err
	}
	v, err := checkPickup(e, dir, order, o.pickup, opt)
	if err != nil {
		return err
	}
	written, err := writeCertificates(dir, o.out, paper, order, v)
	if err != nil {
		return err
	}
	if e.json {
		if err := e.writeJSON(v); err != nil {
			return err
		}
	} else {
		printVerdict(e, v)
		e.print("certificate written to %s", strings.Join(written, " and "))
	}
	switch v.Verdict {
	case verdict.OutOfTolerance:
		return exit{exitOutOfTolerance}
	case verdict.CannotTell:
		return exit{exitCannotTell}
	}
	return nil
}

// expected is the model that a pickup is compared with, and its name: the shop's
// current one, or the handbook's. A model that cannot be read is warned of, and
// nothing is compared.
func expected(e *env, dir string) (*verdict.Bench, string) {
	lib, err := profiles.LoadLibrary(dir)
	if err != nil {
		e.warn([]string{fmt.Sprintf("not compared with what the model expects: %v", err)})
		return nil, ""
	}
	b := &verdict.Bench{Model: fit.Handbook(profiles.Travel), Sets: lib.Sets()}
	s := modelStore{shop: dir}
	if missing(s.path(currentFile)) {
		return b, "the handbook alone"
	}
	name, err := s.current()
	if err != nil {
		e.warn([]string{fmt.Sprintf("not compared with what the model expects: %v", err)})
		return nil, ""
	}
	r, err := s.read(name)
	if err != nil {
		e.warn([]string{fmt.Sprintf("not compared with what the model expects: %v", err)})
		return nil, ""
	}
	b.Model = r.Model
	return b, fmt.Sprintf("%s (%s), of data %.12s", strings.TrimSuffix(name, ".json"), r.Kind, r.Fingerprint)
}

// checkPickup judges a pickup by the record with the jig's gain applied, compares
// it with what the model expects, and says what there is to say of the jig's
// calibration.
func checkPickup(e *env, dir string, order *profiles.Order, pickup string, opt verdict.Options) (*verdict.Verdict, error) {
	book, err := loadGains(dir)
	if err != nil {
		return nil, err
	}
	name := filepath.Join(dir, record.ReadingsFile)
	f, err := record.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	opt.Channel = book.ChannelStd
	var model string
	opt.Bench, model = expected(e, dir)
	if fields := filepath.Join(dir, record.FieldsFile); opt.Bench != nil && !missing(fields) {
		f, err := record.Open(fields)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		opt.Bench.Fields = record.Fields(f, fields)
	}
	v, err := verdict.Check(book.Apply(record.Readings(f, name)), order, pickup, opt)
	none, wrong := (*verdict.NotChecked)(nil), (*verdict.OrderError)(nil)
	if errors.As(err, &none) || errors.As(err, &wrong) {
		return nil, &inputError{err}
	}
	if err != nil {
		return nil, err
	}
	if v.Diagnosis != nil {
		v.Model = model
	}
	if c := book.At(v.Jig, v.Time); c != nil {
		v.Calibration = c.String()
		v.Notes = append(v.Notes, c.String())
	}
	if late := book.Overdue(v.Jig, v.Time); late != "" {
		v.Warnings = append(v.Warnings, late)
	}
	return v, nil
}

// writeCertificates writes the certificate to the file named, or as HTML and PDF
// into the shop, and returns what it wrote.
func writeCertificates(dir, out string, paper report.Paper, order *profiles.Order, v *verdict.Verdict) ([]string, error) {
	files := []string{out}
	if out == "" {
		stem := filepath.Join(dir, certificatesDir, fileName(order.ID)+"-"+fileName(v.Pickup))
		files = []string{stem + ".html", stem + ".pdf"}
	}
	shop, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	c := report.Certificate{Verdict: v, Order: order, Folder: filepath.Base(shop), Version: version()}
	if v.Diagnosis != nil {
		for _, s := range v.Diagnosis.Strings {
			c.Predicted = append(c.Predicted, float64(s.Balance))
		}
	}
	for _, file := range files {
		err := writeFile(file, func(f *os.File) error {
			if isPDF(file) {
				return report.WriteCertificatePDF(f, c, paper)
			}
			return report.WriteCertificate(f, c)
		})
		if err != nil {
			return nil, err
		}
	}
	return files, nil
}

// isPDF reports whether a document is asked for as a PDF, by the end of its name.
func isPDF(path string) bool { return strings.EqualFold(filepath.Ext(path), ".pdf") }

// pageName refuses a page by another name than of what can be written; "" is none.
func pageName(flag, path string) error {
	switch ext := strings.ToLower(filepath.Ext(path)); {
	case path == "", ext == ".html", ext == ".htm", ext == ".pdf":
		return nil
	}
	return badInput("%s: expected a name that ends in .html or .pdf, got %q", flag, path)
}

// fileName makes an id safe to name a file by, on every system.
func fileName(id string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || strings.ContainsRune(`/\:*?"<>|`, r) {
			return '_'
		}
		return r
	}, id)
}

// known writes a figure, or a dash when it is not known.
func known(format string, f level.Figure) string {
	if !f.Known() {
		return "-"
	}
	return fmt.Sprintf(format, float64(f))
}

func plain(f level.Figure) string { return known("%.2f", f) }

func plus(f level.Figure) string {
	if !f.Known() {
		return "-"
	}
	return signed(float64(f))
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
	e.print("spread %s dB; every string within +- %g dB of its target is wanted; U covers %.0f %%", plain(v.Spread), v.Tolerance, 100*v.Coverage)
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
		e.print("string %d: %d more takes would likely tell", m.String, m.Takes)
	}
	if v.Resistance != nil {
		e.print("%s", v.Resistance)
	}
	for _, n := range v.Notes {
		e.note("note: %s", n)
	}
	e.warn(v.Warnings)
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
	}
	tw.Flush()
	for _, line := range d.Say() {
		e.print("%s", line)
	}
}
