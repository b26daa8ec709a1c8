package batch

import (
	"math"
	"time"

	"evenpole/fit/level"
	"evenpole/profiles"
)

// Interval is from Low to High.
type Interval struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Magnet is one magnet of the batch.
type Magnet struct {
	Name     string  `json:"magnet"`
	Position int     `json:"position"` // of the probe, at its first take; 0 when not known
	Field    float64 `json:"field_mt"` // signed
	Takes    int     `json:"takes"`
	Placings int     `json:"placings"` // times that it was put under the probe
	Reversed bool    `json:"reversed"` // its other pole is up than that of most
	Outlier  bool    `json:"outlier"`
	Breach   string  `json:"beyond"` // the side of the limits on which it lies outside: "below", "above", or ""
}

// Strength is the size of the field, mT.
func (m *Magnet) Strength() float64 { return math.Abs(m.Field) }

// strengths of the magnets in order, mT.
func strengths(magnets []Magnet) []float64 {
	out := make([]float64, len(magnets))
	for i := range magnets {
		out[i] = magnets[i].Strength()
	}
	return out
}

// Scatter is how much strengths vary, by source: standard deviations, mT. A figure that the
// readings do not show is unknown.
type Scatter struct {
	Magnets     float64      `json:"magnets_mt"` // from magnet to magnet, without the measurement's
	Interval    *Interval    `json:"magnets_mt_interval"`
	Percent     float64      `json:"magnets_percent"` // of the mean
	Observed    float64      `json:"observed_mt"`     // of the magnets' measured strengths
	Take        level.Figure `json:"take_mt"`         // from take to take of one placing
	Placing     level.Figure `json:"placing_mt"`      // from placing to placing, without the takes' when that is known
	Measurement level.Figure `json:"measurement_mt"`  // error of a magnet's measured strength
}

// Tolerance is a normal tolerance interval: it holds a share of the batch with
// a confidence.
type Tolerance struct {
	Share      float64 `json:"share"`
	Confidence float64 `json:"confidence"`
	K          float64 `json:"k"`
	Approx     float64 `json:"k_approximate"` // Howe's
	Interval
	AtLeast float64 `json:"at_least"` // the share is stronger than this; one-sided
	AtMost  float64 `json:"at_most"`  // the share is weaker than this; one-sided
}

// Outlier is a magnet that differs significantly from the others.
type Outlier struct {
	Magnet    string  `json:"magnet"`
	Field     float64 `json:"field_mt"`
	Statistic float64 `json:"statistic"` // distance from the mean in standard deviations, of those that are left
	Critical  float64 `json:"critical"`
}

// Trend says whether strength drifts along the order in which magnets were first
// measured: that of the box, when they were drawn in order. A probe that drifts
// looks the same.
type Trend struct {
	Slope  float64 `json:"slope_mt"`  // a magnet, median of all pairs
	Across float64 `json:"across_mt"` // from the first magnet to the last, by that slope
	P      float64 `json:"p"`         // chance of a trend as clear as this where there is none
	Drifts bool    `json:"drifts"`    // P below the significance
}

// Answer is the answer for a batch.
type Answer string

// The answers.
const (
	Accept      Answer = "accept"
	Reject      Answer = "reject"
	MeasureMore Answer = "measure more"
)

// Decision is what sampling by variables says of a batch.
type Decision struct {
	Answer Answer `json:"verdict"`
	Limits
	Risks
	By        int          `json:"decided_by"`        // magnets that the shares are of: all, or the plan's first; 0 when none is known
	Outside   level.Figure `json:"estimated_outside"` // share of the batch beyond the limits; unknown for fewer than three magnets, or without scatter
	AcceptAt  level.Figure `json:"accept_at_most"`    // of it; unknown when so few magnets cannot accept
	RejectAt  level.Figure `json:"reject_above"`      // of it; unknown when so few cannot reject
	Plan      int          `json:"plan_n"`            // magnets, the first ones, that always decide
	PlanK     float64      `json:"plan_k"`
	PlanOnce  int          `json:"plan_n_one_look"` // magnets that would do, were they looked at once and never before
	AtMost    int          `json:"more_at_most"`    // to measure until the plan is complete; 0 when decided
	Likely    int          `json:"more_likely"`     // to measure until it decides, if mean and scatter stay what they are; AtMost when there is no scatter
	Breaching []string     `json:"beyond"`          // magnets measured beyond the limits
}

// Comparison compares the batch with another one.
type Comparison struct {
	Batch     string       `json:"batch"`
	Reference bool         `json:"reference"`
	First     time.Time    `json:"first"` // its first reading
	Count     int          `json:"n_magnets"`
	Mean      float64      `json:"mean_mt"`
	SD        level.Figure `json:"sd_mt"`          // of its magnets' measured strengths
	Percent   float64      `json:"percent"`        // mean strength of the batch in hand above the other's, geometric means
	Within    *Interval    `json:"percent_within"` // of Percent
	DB        float64      `json:"field_db"`       // the same in dB of field
	Turned    bool         `json:"other_pole_up"`  // most of its magnets have the other pole up
}

// Loudness is how much louder test pickups with magnets of a batch are than those
// with magnets of the reference batch, in what a model leaves of their levels.
type Loudness struct {
	Pickups   int       `json:"n_pickups"`
	Reference int       `json:"n_reference_pickups"`
	DB        float64   `json:"db"`
	Within    *Interval `json:"db_interval"`
}

// Report is what is known of one batch. It marshals to JSON; what the readings
// cannot tell is null.
type Report struct {
	Batch      string       `json:"batch"`
	Reference  string       `json:"reference"`
	Measured   time.Time    `json:"measured"` // the last take
	Gap        level.Figure `json:"probe_gap_mm"`
	Takes      int          `json:"n_takes"`
	Count      int          `json:"n_magnets"`
	Confidence float64      `json:"confidence"` // of intervals
	Mean       float64      `json:"mean_mt"`
	MeanWithin *Interval    `json:"mean_mt_interval"`
	Scatter    *Scatter     `json:"scatter"`
	Tolerance  *Tolerance   `json:"tolerance"`
	Test       string       `json:"outlier_test"`
	Outliers   []Outlier    `json:"outliers"`
	Reversed   []string     `json:"reversed"` // magnets with the other pole up
	Trend      *Trend       `json:"trend"`
	Decision   *Decision    `json:"decision"` // nil without limits
	Others     []Comparison `json:"others"`
	Loudness   *Loudness    `json:"loudness"`       // the caller's to set, see Compare
	ForMean    *int         `json:"more_for_mean"`  // magnets to measure beside these until the mean is known within Within
	Within     float64      `json:"within_percent"` // of the mean
	Magnets    []Magnet     `json:"magnets"`        // in the order in which they were first measured
	LeftOut    []LeftOut    `json:"left_out"`       // of all rows read
	Warnings   []string     `json:"warnings"`
	Notes      []string     `json:"notes"` // how the figures were made
}

func (r *Report) warn(format string, args ...any) {
	r.Warnings = append(r.Warnings, profiles.Sprintf(format, args...))
}

func (r *Report) note(format string, args ...any) {
	r.Notes = append(r.Notes, profiles.Sprintf(format, args...))
}

// characterisation is a report in the making.
type characterisation struct {
	*Report
	lot *lot
	opt Options
}
