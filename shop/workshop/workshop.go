// Package workshop is an invented workshop, by a lighthouse, that winds pickups for a
// ceilidh band: what it orders, builds and measures, with the errors of a real one.
// The same seed gives the same workshop.
//
//   - mount.go: what is on a simulated jig, of a mount; faults.go: what is otherwise on it
//     than the mount says.
//   - workshop.go: the order, the test pickups, and the pickup built to the plan.
package workshop

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"evenpole/jig/sim"
	"evenpole/profiles"
)

// OrderID is the workshop's one order, OrderText its text.
const (
	OrderID   = "L-012"
	OrderText = `# Lighthouse workshop: bridge pickup for the ceilidh band's six-string.
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
	mountText = `# Lighthouse workshop: what is on the jig.
pickup = "%s"
batch = "gale"
poles = "rod"
pole_heights_mm = [%s]
string_heights_mm = [%s]
set = "%s"
`
)

// stringings are the ways in which each of the test pickups is strung.
var stringings = []struct {
	set  string
	lift float64 // mm by which the strings lie higher than on the order's instrument
}{
	{"light plain-third 10-46", 0},
	{"wound-third 12-52", 0},
	{"light plain-third 10-46", 0.8},
}

const pickups = 4

// Setting and caliper: standard deviations, mm, with which the workshop sets a pole
// and measures one.
const (
	Setting = 0.05
	caliper = 0.02
)

// Workshop is one run of the demo.
type Workshop struct {
	Order *profiles.Order
	seed  uint64
	rng   *rand.Rand
}

// New opens the workshop.
func New(seed uint64) (*Workshop, error) {
	order, err := profiles.ParseOrder("the demo's order", []byte(OrderText), profiles.Builtin())
	return &Workshop{order, seed, rand.New(rand.NewPCG(seed, 0x6c616d70))}, err
}

// Job is a pickup to mount on the jig.
type Job struct {
	Name   string // of the mount's file
	Pickup string
	Set    string
	Lift   float64 // mm by which the strings lie higher than on the order's instrument

	built    []float64 // pole heights, mm
	measured []float64 // as the caliper gives them
	strings  []float64 // string heights, mm
}

// TestPickups are the pickups to learn from, under every stringing.
func (w *Workshop) TestPickups() []Job {
	var out []Job
	for n := 1; n <= pickups; n++ {
		built := make([]float64, len(w.Order.Strings))
		for i := range built {
			built[i] = math.Round(2.8*w.rng.Float64()*20) / 20
		}
		measured := w.measure(built)
		for k, s := range stringings {
			id := fmt.Sprintf("T-%d", n)
			out = append(out, Job{fmt.Sprintf("%s-%d", id, k+1), id, s.set, s.lift, built, measured, w.stringHeights(s.lift)})
		}
	}
	return out
}

// Build builds the ordered pickup to heights in mm, each pole a little off.
func (w *Workshop) Build(heights []float64) Job {
	built := slices.Clone(heights)
	for i := range built {
		built[i] += Setting * w.rng.NormFloat64()
	}
	id := OrderID + "-a"
	return Job{id, id, w.Order.Set, 0, built, w.measure(built), w.stringHeights(0)}
}

// measure is what a caliper says of heights, mm.
func (w *Workshop) measure(heights []float64) []float64 {
	out := slices.Clone(heights)
	for i := range out {
		out[i] = hundredth(out[i] + caliper*w.rng.NormFloat64())
	}
	return out
}

// stringHeights are those of the order's instrument, and so much higher, mm.
func (w *Workshop) stringHeights(lift float64) []float64 {
	heights := w.Order.StringHeights()
	for i := range heights {
		heights[i] = hundredth(heights[i] + lift)
	}
	return heights
}

func hundredth(mm float64) float64 { return math.Round(mm*100) / 100 }

// MountText is the mount file, which says what was measured.
func (j *Job) MountText() string {
	return fmt.Sprintf(mountText, j.Pickup, list(j.measured), list(j.strings), j.Set)
}

// Mounted puts a job on the simulated jig, as it is built. m is its mount file.
func (w *Workshop) Mounted(j *Job, m *profiles.Mount) (sim.Mounted, error) {
	out, err := Mounted(m, w.seed)
	if err != nil {
		return out, err
	}
	for i := range out.Poles {
		out.Poles[i].Height = j.built[i]
	}
	out.ScaleLength, out.PickupFromBridge = w.Order.ScaleLength, w.Order.PickupFromBridge
	return out, nil
}

// list writes heights for a TOML list.
func list(v []float64) string {
	parts := make([]string, len(v))
	for i, x := range v {
		parts[i] = fmt.Sprintf("%.2f", x)
	}
	return strings.Join(parts, ", ")
}
