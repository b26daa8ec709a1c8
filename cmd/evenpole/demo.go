package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"evenpole/fit/plan"
	"evenpole/fit/verdict"
	"evenpole/jig"
	"evenpole/jig/sim"
	"evenpole/profiles"
	"evenpole/report"

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
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runDemo(cmd.Context(), e, o) },
	}
	cmd.Flags().StringVar(&o.dir, "dir", "", "fresh `folder` for the shop (default: evenpole-demo, or the next free name)")
	cmd.Flags().Uint64Var(&o.seed, "seed", 1, "`seed` of all that is drawn")
	return cmd
}

// The demo's shop: a workshop by a lighthouse that winds pickups for a ceilidh
// band. All of it is invented.
const (
	demoOrder = `# Lighthouse workshop: bridge pickup for the ceilidh band's six-string.
id = "L-012"
set = "light plain-third 10-46"

[instrument]
fretboard_radius_in = 7.25
string_spread_mm = 52.0
scale_length_mm = 648.0
pickup_from_bridge_mm = 100.0

[pickup]
batch = "gale"
poles = "rod"
pole_height_min_mm = 0.0
pole_height_max_mm = 3.0
pole_height_step_mm = 0.05
min_gap_mm = 1.2
string_height_first_mm = 3.0
string_height_last_mm = 3.4

[target]
tolerance_db = 2.0

[[compare]]
name = "the pattern on the wall"
heights_mm = [0.4, 0.8, 1.9, 1.4, 0.9, 0.5]
`
	demoMount = `# Lighthouse workshop: what is on the jig.
pickup = "%s"
batch = "gale"
poles = "rod"
pole_heights_mm = [%s]
string_heights_mm = [%s]
set = "%s"
`
)

// The ways in which each of the demo's test pickups is strung.
var demoStringings = []struct {
	set  string
	lift float64 // mm by which the strings lie higher than on the order's instrument
}{
	{"light plain-third 10-46", 0},
	{"wound-third 12-52", 0},
	{"light plain-third 10-46", 0.8},
}

const (
	demoPickups = 4
	demoTakes   = 6
	demoSpeed   = 400  // times faster than a real jig
	demoSetting = 0.05 // mm, standard deviation with which the shop sets a pole
	demoCaliper = 0.02 // mm, standard deviation with which it measures one
)

// demo is one run.
type demo struct {
	*env
	quiet env // for the commands within: their own text is not shown
	dir   string
	jig   *sim.Jig
	term  *sim.Term
	seed  uint64
	rng   *rand.Rand
	order *profiles.Order
}

func runDemo(ctx context.Context, e *env, o demoOptions) error {
	dir, err := freshFolder(o.dir)
	if err != nil {
		return err
	}
	started := time.Now()
	d := &demo{env: e, dir: dir, seed: o.seed, rng: rand.New(rand.NewPCG(o.seed, 0x6c616d70))}
	d.quiet = env{stdout: io.Discard, stderr: io.Discard, shop: dir}
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
		if !missing(name) {
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
	orderFile := filepath.Join(d.dir, "orders", "L-012.toml")
	if err := writeText(orderFile, demoOrder); err != nil {
		return err
	}
	var err error
	if d.order, err = profiles.ReadOrder(orderFile, profiles.Builtin()); err != nil {
		return err
	}
	port := d.term.Name
	if port == "" {
		port = "a port within this program"
	}
	d.note("simulated jig on %s, %d times faster than a real one", port, demoSpeed)
	if err := d.characterise(ctx); err != nil {
		return err
	}
	d.note("fitting the model")
	if err := runFit(&d.quiet, fitOptions{now: time.Now}); err != nil {
		return err
	}
	p, err := makePlan(&d.quiet, d.order, "")
	if err != nil {
		return err
	}
	if !d.json {
		printPlan(d.env, d.order, p)
	}
	if err := drawPoles(filepath.Join(d.dir, "plans", "L-012.svg"), d.order, p); err != nil {
		return err
	}
	return d.buildAndCheck(ctx, p)
}

// characterise captures the test pickups under every stringing.
func (d *demo) characterise(ctx context.Context) error {
	for n := 1; n <= demoPickups; n++ {
		built := make([]float64, 6)
		for i := range built {
			built[i] = math.Round(2.8*d.rng.Float64()*20) / 20
		}
		measured := d.measure(built)
		for k, s := range demoStringings {
			heights := d.order.StringHeights()
			for i := range heights {
				heights[i] = math.Round((heights[i]+s.lift)*100) / 100
			}
			id := fmt.Sprintf("T-%d", n)
			name := fmt.Sprintf("%s-%d.toml", id, k+1)
			d.note("test pickup %s under %q, strings %.1f mm higher: capturing", id, s.set, s.lift)
			if err := d.capture(ctx, name, id, built, measured, heights, s.set, "model"); err != nil {
				return err
			}
		}
	}
	return nil
}

// measure is what a caliper says of heights, mm.
func (d *demo) measure(heights []float64) []float64 {
	out := slices.Clone(heights)
	for i := range out {
		out[i] = math.Round((out[i]+demoCaliper*d.rng.NormFloat64())*100) / 100
	}
	return out
}

// capture mounts a pickup on the simulated jig and captures it as 'evenpole
// capture' would. What stands on the jig is as built; the mount file says what
// was measured.
func (d *demo) capture(ctx context.Context, name, pickup string, built, measured, strings []float64, set, purpose string) error {
	text := fmt.Sprintf(demoMount, pickup, list(measured), list(strings), set)
	file := filepath.Join(d.dir, "jig", name)
	if err := writeText(file, text); err != nil {
		return err
	}
	mount, err := profiles.ReadMount(file, profiles.Builtin())
	if err != nil {
		return err
	}
	mounted, err := simMount(mount, d.seed)
	if err != nil {
		return err
	}
	for i := range mounted.Poles {
		mounted.Poles[i].Height = built[i]
	}
	mounted.ScaleLength, mounted.PickupFromBridge = d.order.ScaleLength, d.order.PickupFromBridge
	d.jig.Mount(mounted)
	return runCapture(ctx, &d.quiet, captureOptions{port: d.term.Name, mount: file, purpose: purpose, takes: demoTakes, open: d.term.Open})
}

// buildAndCheck builds the plan as a shop would and checks what was built.
func (d *demo) buildAndCheck(ctx context.Context, p *plan.Plan) error {
	const id = "L-012-a"
	built := slices.Clone(p.Heights)
	for i := range built {
		built[i] += demoSetting * d.rng.NormFloat64()
	}
	measured := d.measure(built)
	heights := d.order.StringHeights()
	for i := range heights {
		heights[i] = math.Round(heights[i]*100) / 100
	}
	d.note("building the planned pickup, each pole off by some %.2f mm, and capturing it", demoSetting)
	if err := d.capture(ctx, id+".toml", id, built, measured, heights, d.order.Set, "check"); err != nil {
		return err
	}
	v, err := checkPickup(&d.quiet, d.dir, d.order, id, verdict.Options{})
	if err != nil {
		return err
	}
	certificates, err := writeCertificates(d.dir, "", report.A4, d.order, v)
	if err != nil {
		return err
	}
	if d.json {
		return d.writeJSON(struct {
			Shop        string           `json:"shop"`
			Plan        *plan.Plan       `json:"plan"`
			Check       *verdict.Verdict `json:"check"`
			Certificate string           `json:"certificate"`
		}{d.dir, p, v, certificates[0]})
	}
	d.print("")
	printVerdict(d.env, v)
	d.print("")
	d.print("spread of the strings: %.2f dB expected with flat tops at %.2f mm, %.2f dB expected with the plan,", p.Flat.Spread, p.Flat.Height, p.Spread)
	d.print("%.2f dB measured on the pickup that was built to it", float64(v.Spread))
	d.print("")
	d.print("the shop is in %s: readings.csv, sessions.csv, mounts/ (the record), jig/ and orders/ (what", d.dir)
	d.print("the shop described), models/ (the model), plans/L-012.svg (the poles), and the certificate")
	d.print("%s, also as a PDF beside it", certificates[0])
	return nil
}

func writeText(path, text string) error {
	return writeFile(path, func(f *os.File) error {
		_, err := f.WriteString(text)
		return err
	})
}

// list writes heights for a TOML list.
func list(v []float64) string {
	parts := make([]string, len(v))
	for i, x := range v {
		parts[i] = fmt.Sprintf("%.2f", x)
	}
	return strings.Join(parts, ", ")
}
