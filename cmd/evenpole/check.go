package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"evenpole/capture"
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
	mounting float64 // dB; 0 = the usual
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

Exit status: 0 conforms; 3 out of tolerance; 4 cannot tell yet.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return runCheck(e, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.order, "order", "", "order `file`")
	f.StringVar(&o.pickup, "pickup", "", "the pickup's `id`")
	f.StringVar(&o.out, "out", "", "certificate `file` (default: certificates/ORDER-PICKUP.html in the shop)")
	f.Float64Var(&o.mounting, "mounting-db", 0, "standard uncertainty of mounting it, `dB` a string, as 'evenpole repeat' found it (default 0.15)")
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
	v, err := checkPickup(dir, order, o.pickup, verdict.Options{Slope: expected(e, order, dir), Mounting: o.mounting})
	if err != nil {
		return err
	}
	if o.out == "" {
		o.out = filepath.Join(dir, certificatesDir, fileName(order.ID)+"-"+fileName(o.pickup)+".html")
	}
	if err := writeCertificate(o.out, order, v); err != nil {
		return err
	}
	if e.json {
		if err := e.writeJSON(v); err != nil {
			return err
		}
	} else {
		printVerdict(e, v)
		e.print("certificate written to %s", o.out)
	}
	switch v.Verdict {
	case verdict.OutOfTolerance:
		return exit{exitOutOfTolerance}
	case verdict.CannotTell:
		return exit{exitCannotTell}
	}
	return nil
}

// expected is how much each string gains with its pole's height, dB per mm, by
// the shop's current model; nil when there is none, or none that can be used: a
// remedy then does not say how far.
func expected(e *env, order *profiles.Order, dir string) []float64 {
	if _, err := currentModel(dir); err != nil {
		return nil
	}
	p, err := makePlan(e, order, "")
	if err != nil {
		e.warn([]string{fmt.Sprintf("remedies do not say how far, for want of a plan: %v", err)})
		return nil
	}
	perMM := make([]float64, len(p.Slope))
	for i, s := range p.Slope {
		perMM[i] = s * 10 // from dB per 0.1 mm
	}
	return perMM
}

// checkPickup judges a pickup by the record with the jig's gain applied, and says
// what there is to say of its calibration.
func checkPickup(dir string, order *profiles.Order, pickup string, opt verdict.Options) (*verdict.Verdict, error) {
	book, err := loadGains(dir)
	if err != nil {
		return nil, err
	}
	name := filepath.Join(dir, capture.ReadingsFile)
	f, err := capture.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	opt.Channel = book.ChannelStd
	v, err := verdict.Check(book.Apply(capture.Readings(f, name)), order, pickup, opt)
	if none := (*verdict.NotChecked)(nil); errors.As(err, &none) {
		return nil, &inputError{err}
	}
	if err != nil {
		return nil, err
	}
	if c := book.At(v.Jig, v.Time); c != nil {
		v.Notes = append(v.Notes, c.String())
	}
	if late := book.Overdue(v.Jig, v.Time); late != "" {
		v.Warnings = append(v.Warnings, late)
	}
	return v, nil
}

func writeCertificate(path string, order *profiles.Order, v *verdict.Verdict) error {
	return writeFile(path, func(f *os.File) error {
		return report.WriteCertificate(f, report.Certificate{Verdict: v, Order: order, Version: version()})
	})
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

func printVerdict(e *env, v *verdict.Verdict) {
	e.print("pickup %s against order %s: %s (session %s)", v.Pickup, v.Order, v.Verdict, v.Session)
	e.print("")
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(tw, "string\tnote\tlevel mV\tbalance dB\ttarget dB\tdeviation dB\t+- U dB\ttakes\tverdict\t\n")
	for _, s := range v.Strings {
		fmt.Fprintf(tw, "%d\t%s\t%.2f\t%s\t%s\t%s\t%.2f\t%d\t%s\t\n",
			s.Number, s.Note, float64(s.Level), signed(float64(s.Balance)), signed(s.Target), signed(float64(s.Deviation)), float64(s.Expanded), s.Takes, s.Verdict)
	}
	tw.Flush()
	e.print("")
	e.print("spread %.2f dB; every string within +- %.1f dB of its target is wanted; U covers %.0f %%", float64(v.Spread), v.Tolerance, 100*v.Coverage)
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
	for _, n := range v.Notes {
		e.note("note: %s", n)
	}
	e.warn(v.Warnings)
}
