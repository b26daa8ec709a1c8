package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"evenpole/capture/record"
	"evenpole/fit/plan"
	"evenpole/fit/verdict"
	"evenpole/jig"
	"evenpole/jig/sim"
	"evenpole/report"
	"evenpole/shop"
	"evenpole/shop/workshop"

	"github.com/spf13/cobra"
)

type demoOptions struct {
	dir  string
	seed uint64
}

func newDemoCmd(e *env) *cobra.Command {
	var o demoOptions
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "See the whole job on a simulated jig, in a fresh shop folder",
		Long: `Does the whole job with the code that the other commands use, on a simulated jig
behind a pseudo-terminal: captures test pickups, fits the model, plans an order,
"builds" the planned pickup with the errors of a real shop, captures it and
checks it. The shop folder stays, to look at and to try commands on. The same
seed gives the same numbers.`,
		Args:        cobra.NoArgs,
		Annotations: map[string]string{endsItself: ""},
		RunE:        func(cmd *cobra.Command, _ []string) error { return runDemo(cmd.Context(), e, o) },
	}
	cmd.Flags().StringVar(&o.dir, "dir", "", "fresh `folder` for the shop (default: evenpole-demo, or the next free name)")
	cmd.Flags().Uint64Var(&o.seed, "seed", 1, "`seed` of all that is drawn")
	return cmd
}

const (
	demoTakes = 6
	demoSpeed = 400 // times faster than a real jig
)

// demo is one run.
type demo struct {
	*env
	quiet env // for the commands within: their own text is not shown
	shop  *shop.Shop
	work  *workshop.Workshop
	jig   *sim.Jig
	term  *sim.Term
}

// demoDocument is what --json prints.
type demoDocument struct {
	Shop        string           `json:"shop"`
	Plan        *plan.Plan       `json:"plan"`
	Check       *verdict.Verdict `json:"check"`
	Certificate string           `json:"certificate"`
}

var demoJSON = newDocument[demoDocument]()

func runDemo(ctx context.Context, e *env, o demoOptions) error {
	dir, err := freshFolder(o.dir)
	if err != nil {
		return err
	}
	started := time.Now()
	e.units = e.asked
	d := &demo{env: e, quiet: env{stdout: io.Discard, stderr: io.Discard, shop: dir, asked: e.asked}}
	if d.shop, err = shop.Open(dir); err != nil {
		return err
	}
	if d.work, err = workshop.New(o.seed); err != nil {
		return err
	}
	d.jig = sim.New(sim.Config{ID: "lamp", Seed: o.seed, Speed: demoSpeed, Excite: jig.Travel})
	if d.term, err = sim.Terminal(); err != nil {
		return err
	}
	defer d.term.Close()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	served := make(chan error, 1)
	go func() { served <- d.jig.Serve(ctx, d.term.Port) }()
	err = d.run(ctx)
	cancel()
	<-served
	if err != nil {
		return err
	}
	e.note("done in %.0f s", time.Since(started).Seconds())
	return nil
}

// freshFolder makes the shop's folder, which must not have been there.
func freshFolder(name string) (string, error) {
	if name != "" {
		if !shop.Missing(name) {
			return "", badInput("%s is there already: the demo wants a fresh folder", name)
		}
		return name, os.MkdirAll(name, 0o777)
	}
	for n := 1; ; n++ {
		name := "evenpole-demo"
		if n > 1 {
			name = fmt.Sprintf("evenpole-demo-%d", n)
		}
		if err := os.Mkdir(name, 0o777); !errors.Is(err, os.ErrExist) {
			return name, err
		}
	}
}

func (d *demo) run(ctx context.Context) error {
	if err := shop.Describe(d.shop.OrderFile(workshop.OrderID), workshop.OrderText); err != nil {
		return err
	}
	port := d.term.Name
	if port == "" {
		port = "a port within this program"
	}
	d.note("simulated jig on %s, %d times faster than a real one", port, demoSpeed)
	for _, j := range d.work.TestPickups() {
		d.note("test pickup %s under %q, strings %.1f mm higher: capturing", j.Pickup, j.Set, j.Lift)
		if err := d.capture(ctx, &j, record.ForModel); err != nil {
			return err
		}
	}
	d.note("fitting the model")
	if err := runFit(ctx, &d.quiet, fitOptions{}); err != nil {
		return err
	}
	model, err := d.shop.Predictor("")
	if err != nil {
		return err
	}
	p, err := shop.Plan(ctx, d.work.Order, model, plan.Options{})
	if err != nil {
		return err
	}
	if !d.json {
		printPlan(d.env, d.work.Order, p)
	}
	if err := drawPoles(d.env, d.shop.PlanFile(workshop.OrderID), d.work.Order, p); err != nil {
		return err
	}
	return d.buildAndCheck(ctx, p)
}

// capture mounts a pickup on the simulated jig and captures it as 'evenpole
// capture' would.
func (d *demo) capture(ctx context.Context, j *workshop.Job, purpose record.Purpose) error {
	file := d.shop.MountFile(j.Name)
	if err := shop.Describe(file, j.MountText()); err != nil {
		return err
	}
	mount, err := d.shop.ReadMount(file)
	if err != nil {
		return err
	}
	mounted, err := d.work.Mounted(j, mount)
	if err != nil {
		return err
	}
	d.jig.Mount(mounted)
	return runCapture(ctx, &d.quiet, captureOptions{port: d.term.Name, mount: file, purpose: string(purpose), takes: demoTakes, open: d.term.Open})
}

// buildAndCheck builds the plan as a shop would and checks what was built.
func (d *demo) buildAndCheck(ctx context.Context, p *plan.Plan) error {
	d.note("building the planned pickup, each pole off by some %.2f mm, and capturing it", workshop.Setting)
	j := d.work.Build(p.Heights)
	if err := d.capture(ctx, &j, record.ForCheck); err != nil {
		return err
	}
	v, _, err := d.shop.Check(ctx, d.work.Order, j.Pickup, verdict.Options{}, nil)
	if err != nil {
		return err
	}
	certificates, notices, err := d.shop.IssuePapers(v, d.work.Order, nil, shop.Paperwork{Units: d.units, Paper: report.A4, Version: version()})
	d.warn(notices)
	if err != nil {
		return err
	}
	if d.json {
		return demoJSON.write(d.env, demoDocument{d.shop.Dir(), p, v, certificates[0]})
	}
	d.print("")
	printVerdict(d.env, v)
	d.print("")
	d.print("spread of the strings: %.2f dB expected with flat tops at %.2f mm, %.2f dB expected with the plan,", p.Flat.Spread, p.Flat.Height, p.Spread)
	d.print("%.2f dB measured on the pickup that was built to it", float64(v.Spread))
	d.print("")
	d.print("the shop is in %s: readings.csv, sessions.csv, mounts/ (the record), jig/ and orders/ (what", d.shop.Dir())
	d.print("the shop described), models/ (the model), plans/L-012.svg (the poles), the certificate")
	d.print("%s and the workshop's sheet, also as PDFs beside them", certificates[0])
	return nil
}
