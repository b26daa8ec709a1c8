package plan

import (
	"strconv"
	"strings"
)

// What a plan says: the types of its JSON document.

// Advice is the short answer to an order.
type Advice string

// What a plan can advise.
const (
	FlatIsEnough Advice = "flat is enough" // flat tops meet with a chance of flatChance or more
	NotReachable Advice = "not reachable"  // no stagger within the limits is expected to meet
	UseStagger   Advice = "stagger"
	MovePickup   Advice = "move the pickup"              // for poles that cannot be set
	LeavePickup  Advice = "leave the pickup as it hangs" // likewise, and as likely to meet as where it were moved to
)

// Plan is the answer to an order. The figures at its top are those of the
// planned stagger under the order's own strings; Sets has those under the others. It marshals to the JSON document of "evenpole plan --json".
type Plan struct {
	Order string `json:"order"` // the order's id
	Forecast
	Tolerance float64      `json:"tolerance_db"`
	Source    string       `json:"source"`             // "shop data" or "handbook prior"
	Cost      float64      `json:"simplicity_cost_db"` // by how much its worst_db exceeds the best stagger's, for being simpler
	Best      []float64    `json:"best_heights_mm"`    // the stagger with the least worst_db
	Move      *Move        `json:"pickup,omitempty"`   // nil when poles can be set
	Coils     *Coils       `json:"coils,omitempty"`    // nil for one coil
	Pair      *Pair        `json:"pair,omitempty"`     // nil when the order names no other pickup
	Poles     []Pole       `json:"poles"`
	Flat      *Flat        `json:"flat"`   // nil when poles cannot be set
	Radius    Forecast     `json:"radius"` // poles on the strings' arc, from the lowest allowed height
	Compare   []Comparison `json:"compare"`
	Advice    Advice       `json:"advice"`
	Relaxed   []Relaxed    `json:"relaxed"` // the limits that bind, and what a step more would buy
	Warnings  []string     `json:"warnings"`
}

// Flat is the forecast of all poles at one height.
type Flat struct {
	Height float64 `json:"height_mm"`
	Forecast
}

// Comparison is the forecast of a stagger that the order names.
type Comparison struct {
	Name string `json:"name"`
	Forecast
}

// Stagger is one row of a plan's tables: a stagger under a string set.
type Stagger struct {
	Name    string
	Strings string // the alternative's name; "" = the order's own
	Forecast
}

// Staggers lists the plan and all that stands beside it, each under the order's
// own strings and then under its alternatives.
func (p *Plan) Staggers() []Stagger {
	var out []Stagger
	add := func(name string, g *Forecast) {
		for _, s := range g.bySet() {
			out = append(out, Stagger{name, s.Name, s.Forecast})
		}
	}
	add("plan", &p.Forecast)
	if p.Move != nil && p.Move.Unmoved != nil {
		add("as it hangs", p.Move.Unmoved)
	}
	if p.Flat != nil {
		add("flat tops", &p.Flat.Forecast)
	}
	add("strings' arc", &p.Radius)
	for i := range p.Compare {
		add(p.Compare[i].Name, &p.Compare[i].Forecast)
	}
	return out
}

// Move is where to hang a pickup whose poles cannot be set: how far to raise each of
// its ends from where the order has it.
type Move struct {
	RaiseFirst        float64 `json:"raise_first_mm"` // under string 1; negative: lowered
	RaiseLast         float64 `json:"raise_last_mm"`
	StringHeightFirst float64 `json:"string_height_first_mm"` // over the bobbin plane, after the move
	StringHeightLast  float64 `json:"string_height_last_mm"`

	Unmoved *Forecast `json:"unmoved"` // of the pickup where the order has it; nil when a pole would reach its string
}

// moves reports whether an end of the pickup is raised or lowered at all.
func (m *Move) moves() bool { return m.RaiseFirst != 0 || m.RaiseLast != 0 }

// Pole is what the bench needs to know of one pole.
type Pole struct {
	Length  float64 `json:"length_mm,omitempty"` // pole top to former's depth, when the order gives that
	Lower   float64 `json:"may_be_lower_mm"`     // how much too low it alone may stand; 0 when the plan hardly has a chance to meet
	Higher  float64 `json:"may_be_higher_mm"`    // how much too high
	Numbers []int   `json:"numbers,omitempty"`   // of the poles under the string, where it has not one of its own
	Magnet  string  `json:"magnet,omitempty"`    // its name, from the stock or the order; "" when none is chosen
}

// PoleNumbers is the numbers of the poles under a string, for people; "" where it has one
// of its own.
func (q *Pole) PoleNumbers() string { return joined(q.Numbers) }

func joined(numbers []int) string {
	var out []string
	for _, n := range numbers {
		out = append(out, strconv.Itoa(n))
	}
	return strings.Join(out, " and ")
}

// Relaxed is the plan with one limit of the order a step wider, or with one more
// length in stock.
type Relaxed struct {
	Limit  string  `json:"limit"` // key of the order
	From   float64 `json:"from_mm"`
	To     float64 `json:"to_mm"`
	Worst  float64 `json:"worst_db"`  // expected worst deviation of that plan, the largest among the string sets
	Gain   float64 `json:"gain_db"`   // by how much that is less than the plan's
	Spread float64 `json:"spread_db"` // under the set with that deviation
	Meets  float64 `json:"meets"`     // the least among the string sets
}
