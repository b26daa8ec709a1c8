// Shops plans orders in simulated shops whose truth is known, builds the
// pickups there, and prints how even they came out, how far that is from the
// best possible, and whether what was said of them beforehand held.
//
//	go run ./bench/shops -record full -shops 20
//
// The physics are those of the simulated jig, bent a little from shop to shop, or with
// -physics solved fields of rods and steel that are drawn at random from what there may be;
// magnets, strings, heights and plucks scatter. Figures are in dB.
//
// With -record kind nothing was measured in a shop, and its handbook was written by 40 other
// shops of these physics, with -record kinds by 40 of each physics: what plans then leave on
// the table is what nobody can know who has not measured that shop, or that kind of shop.
package main

import (
	"context"
	"flag"
	"fmt"
	"math"
	"os"
	"runtime"
	"slices"
	"sync"

	"evenpole/fit"
	"evenpole/fit/layout"
	"evenpole/fit/plan"
	"evenpole/profiles"
	"evenpole/shop"

	"gonum.org/v1/gonum/mat"
)

// plucked is how the jigs set strings moving.
var plucked = "travel"

// easy orders may be served by flat tops.
var easy bool

var physics = flag.String("physics", "jig", "what levels follow: jig, the simulated jig's physics; solved, rods and steel drawn at random and solved for their fields")

var kindOf = flag.String("kind", onePole, "what pickups are: one (pole a string), two-coils (slugs that stand as they are, and screws), blade (by the jig's physics)")

// handbook is the model of shops that have measured nothing.
var handbook fit.Predictor = fit.Handbook(profiles.Travel)

var params = flag.Bool("p", false, "print the falloff model's parameters")

func main() {
	record := flag.String("record", "full", "what the shop has measured: none, one, full, many, fields; kind, kinds: nothing, but other shops of these physics, or of both, wrote its handbook")
	shops := flag.Int("shops", 20, "number of shops")
	first := flag.Int("first", 1, "seed of the first one")
	orders := flag.Int("orders", 8, "orders in each")
	rounds := flag.Int("rounds", 0, "how often each order is built, measured, fitted and planned again first")
	flag.StringVar(&plucked, "excite", plucked, "how the jigs set strings moving: travel, force, drive")
	flag.BoolVar(&easy, "easy", false, "orders that flat tops may serve: flat fretboards, wide tolerances; the advice is judged, too")
	verbose := flag.Bool("v", false, "print each order")
	flag.Parse()
	if *physics != "jig" && *physics != "solved" {
		fmt.Fprintf(os.Stderr, "shops: expected -physics jig or solved, got %q\n", *physics)
		os.Exit(2)
	}
	if *kindOf != onePole && *kindOf != twoCoils && (*kindOf != blades || *physics != "jig") {
		fmt.Fprintf(os.Stderr, "shops: expected -kind one, two-coils or, by the jig's physics, blade, got %q\n", *kindOf)
		os.Exit(2)
	}
	d, ok := designs[*record]
	if !ok {
		fmt.Fprintf(os.Stderr, "shops: expected -record none, kind, kinds, one, full, many or fields, got %q\n", *record)
		os.Exit(2)
	}
	const teachers = 40
	switch *record {
	case "kind":
		handbook = taught(teachers, *physics)
	case "kinds":
		handbook = taught(teachers, "jig", "solved")
	}
	all := make([][]outcome, *shops)
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				all[i] = run(uint64(*first+i), d, *orders, *rounds)
			}
		})
	}
	for i := range *shops {
		next <- i
	}
	close(next)
	wg.Wait()
	out := slices.Concat(all...)
	if *verbose {
		for _, o := range out {
			fmt.Println(o)
		}
	}
	print(out)
}

// outcome is what became of one order.
type outcome struct {
	shop, order                            int
	built, best, flat, radius, height, gap float64
	said                                   [2]float64
	expected, meets                        float64
	advice                                 plan.Advice
	flatMeets, flatSaid                    float64 // share of builds, and what was said
	met                                    bool
	ownRegret                              float64   // dB, of a blade: by how much the worst string is farther off than it could be
	measured                               bool      // every wrap of it is in the record
	off, sd                                []float64 // dB, balance less predicted, and how far that may be
}

func (o outcome) String() string {
	return fmt.Sprintf("shop %d order %d: built %.2f best %.2f flat %.2f radius %.2f said %.2f (%.2f to %.2f) meets %.2f %v off %.1f",
		o.shop, o.order, o.built, o.best, o.flat, o.radius, o.expected, o.said[0], o.said[1], o.meets, o.met, o.off)
}

func run(seed uint64, d design, orders, rounds int) []outcome {
	w := newWorld(seed, d)
	models := w.models()
	if *params {
		fmt.Print(seed)
		for _, p := range models["falloff"].(fit.Model).Parameters() {
			fmt.Printf("  %s %.3f(%.3f)", p.Name, p.Value, p.SE)
		}
		fmt.Println()
	}
	var out []outcome
	for n := range orders {
		if rounds == 0 {
			out = append(out, w.newOrder(n).outcome(n, seed, models))
			continue
		}
		rows := w.rows
		j := w.newOrder(n)
		now := models
		for r := range rounds {
			p, err := plan.Make(context.Background(), j.order, now["falloff"], plan.Options{})
			check(err)
			j.measure(p.Heights, seed*1000+uint64(100*n+r))
			now = w.models()
		}
		out = append(out, j.outcome(n, seed, now))
		w.rows = rows // the next order starts from the small record again
	}
	return out
}

// models fits every kind to the record as it is.
func (w *world) models() map[string]fit.Predictor {
	source := shop.Source{Readings: w.readings()}
	if len(w.fields) > 0 {
		source.Fields = w.fieldReadings()
	}
	data, err := shop.Cells(context.Background(), source)
	check(err)
	models := map[string]fit.Predictor{}
	if len(w.rows) == 0 {
		models["falloff"] = handbook
	}
	for _, kind := range fit.Kinds() {
		if r, err := fit.OfKind(context.Background(), data, kind); err == nil {
			models[kind] = r
		} else if kind == "falloff" && len(w.rows) > 0 {
			check(err)
		}
	}
	return models
}

func (j *job) outcome(n int, seed uint64, models map[string]fit.Predictor) outcome {
	o := outcome{shop: int(seed), order: n}
	if *kindOf == blades {
		return j.hung(o, seed, n, models["falloff"])
	}
	build := func(h []float64) float64 { return spreadOf(j.built(h, seed*1000+uint64(n))) }
	o.best = build(j.best())
	p, err := plan.Make(context.Background(), j.order, models["falloff"], plan.Options{})
	check(err)
	v := j.built(p.Heights, seed*1000+uint64(n))
	o.built, o.said, o.expected, o.meets = spreadOf(v), p.Spread95, p.Spread, p.Meets
	o.met = j.meets(v)
	for i, b := range balance(v) {
		o.off = append(o.off, b-p.Balance[i])
	}
	o.sd = balanceSD(layout.Over(models["falloff"], j.order).Uncertainty(setupOf(j), p.Heights), p.Slope)
	o.measured = j.measured()
	o.advice, o.flatSaid = p.Advice, p.Flat.Meets
	if easy {
		const builds = 60
		for b := range uint64(builds) {
			o.flatMeets += b2f(j.meets(j.built(p.Flat.Heights, 7777+b))) / builds
		}
	}
	o.flat, o.radius = build(p.Flat.Heights), build(p.Radius.Heights)
	o.height, o.gap = math.NaN(), math.NaN()
	for kind, at := range map[string]*float64{"loglinear-height": &o.height, "loglinear-gap": &o.gap} {
		if m := models[kind]; m != nil {
			p, err := plan.Make(context.Background(), j.order, m, plan.Options{})
			check(err)
			*at = build(p.Heights)
		}
	}
	return o
}

func check(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, "shops:", err)
		os.Exit(1)
	}
}

func print(out []outcome) {
	figure := func(name string, f func(o outcome) float64) {
		var v []float64
		for _, o := range out {
			if x := f(o); !math.IsNaN(x) {
				v = append(v, x)
			}
		}
		if len(v) == 0 {
			return
		}
		slices.Sort(v)
		fmt.Printf("%-28s %5.2f %6.2f\n", name, v[len(v)/2], v[int(0.95*float64(len(v)-1))])
	}
	fmt.Printf("%d orders; dB                 median   95 %%\n", len(out))
	for _, k := range []struct {
		name string
		f    func(o outcome) float64
	}{
		{"flat tops", func(o outcome) float64 { return o.flat }}, {"strings' arc", func(o outcome) float64 { return o.radius }},
		{"loglinear-height", func(o outcome) float64 { return o.height }}, {"loglinear-gap", func(o outcome) float64 { return o.gap }},
		{"falloff", func(o outcome) float64 { return o.built }}, {"best possible", func(o outcome) float64 { return o.best }},
	} {
		figure(k.name, k.f)
		if k.name != "best possible" {
			figure("  regret", func(o outcome) float64 { return k.f(o) - o.best })
		}
	}
	if *kindOf == blades {
		figure("  regret in the worst string", func(o outcome) float64 { return o.ownRegret })
	}
	regretWhere := func(name string, measured bool) {
		figure(name, func(o outcome) float64 {
			if o.measured != measured {
				return math.NaN()
			}
			return o.built - o.best
		})
	}
	regretWhere("falloff, wraps on record", true)
	regretWhere("falloff, a wrap that is not", false)
	held, low, better, n := 0, 0, 0, len(out)
	var brier, base, mean float64
	for _, o := range out {
		if o.built >= o.said[0] && o.built <= o.said[1] {
			held++
		} else if o.built < o.said[0] {
			low++
		}
		if o.built < o.flat {
			better++
		}
		mean += b2f(o.met) / float64(n)
	}
	byKind(out)
	if easy {
		advised(out)
	}
	fmt.Printf("95 %% interval holds: %.3f (below %.3f); better than flat tops: %.2f\n", float64(held)/float64(n), float64(low)/float64(n), float64(better)/float64(n))
	slices.SortFunc(out, func(a, b outcome) int { return int(math.Copysign(1, a.meets-b.meets)) })
	for _, o := range out {
		brier += (o.meets - b2f(o.met)) * (o.meets - b2f(o.met)) / float64(n)
		base += (mean - b2f(o.met)) * (mean - b2f(o.met)) / float64(n)
	}
	fmt.Printf("chance to meet: Brier score %.3f, always saying the average %.3f; by quarter said/came", brier, base)
	for q := range 4 {
		part := out[q*n/4 : (q+1)*n/4]
		var said, came float64
		for _, o := range part {
			said += o.meets / float64(len(part))
			came += b2f(o.met) / float64(len(part))
		}
		fmt.Printf("  %.2f/%.2f", said, came)
	}
	fmt.Println()
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// setupOf is the order's pickup as a model sees it.
func setupOf(j *job) *fit.Setup {
	o := j.order
	return &fit.Setup{Strings: o.Strings, StringHeights: j.heights, Spacing: j.spacing(), Poles: o.Poles, Batch: o.Batch, Magnets: o.Magnets,
		ScaleLength: o.ScaleLength, PickupFromBridge: o.PickupFromBridge, Excite: o.Excite}
}

// balanceSD is the standard deviation in dB of each string's balance, for
// poles that are set to 0.05 mm and slopes in dB per 0.1 mm.
func balanceSD(c *mat.SymDense, slope []float64) []float64 {
	n := c.SymmetricDim()
	const dB = 20 / math.Ln10
	at := func(i, k int) float64 {
		v := dB * dB * c.At(i, k)
		if i == k {
			v += slope[i] * slope[i] / 4
		}
		return v
	}
	out := make([]float64, n)
	for i := range n {
		var row, all float64
		for k := range n {
			row += at(i, k) / float64(n)
			for l := range n {
				all += at(k, l) / float64(n*n)
			}
		}
		out[i] = math.Sqrt(at(i, i) - 2*row + all)
	}
	return out
}

// byKind prints how far the strings of each kind of order were off, and how far
// they were said to be.
func byKind(out []outcome) {
	var all, said, held, n [8]float64
	for _, o := range out {
		k := o.order % 8
		for i, d := range o.off {
			all[k] += d * d
			said[k] += o.sd[i] * o.sd[i]
			held[k] += b2f(math.Abs(d) < 1.96*o.sd[i])
			n[k]++
		}
	}
	fmt.Print("strings off by, rms dB / said / share within 95 %:")
	var h, m float64
	for k := range n {
		if n[k] > 0 {
			fmt.Printf("  %s %.2f/%.2f/%.3f", kinds[k], math.Sqrt(all[k]/n[k]), math.Sqrt(said[k]/n[k]), held[k]/n[k])
		}
		h += held[k]
		m += n[k]
	}
	fmt.Printf("  all %.3f\n", h/m)
}

// advised prints how often it was right to say, and not to say, that flat tops
// are enough: they are where they meet in nine builds of ten.
func advised(out []outcome) {
	said, saidRight, saidBadly, kept, keptRight := 0, 0, 0, 0, 0
	for _, o := range out {
		enough := o.flatMeets >= 0.9
		if o.advice == plan.FlatIsEnough {
			said++
			saidRight += int(b2f(enough))
			saidBadly += int(b2f(o.flatMeets < 0.5))
		} else {
			kept++
			keptRight += int(b2f(!enough))
		}
	}
	fmt.Printf("flat is enough: said %d times, right %d, where fewer than half meet %d; not said %d times, right %d\n", said, saidRight, saidBadly, kept, keptRight)
}
