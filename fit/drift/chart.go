package drift

import (
	"time"

	"evenpole/fit/level"
	"evenpole/profiles"
)

// State is the answer.
type State string

// The answers.
const (
	InControl    State = "in control"
	OutOfControl State = "out of control"
	CannotTell   State = "cannot tell yet"
)

// Options are how a chart is drawn. The zero value is the usual.
type Options struct {
	// Baseline is how many first points centre and limits come from; 0 means 20,
	// or all when there are fewer.
	Baseline int
	// Since is when the charts with a memory start anew, and before which no signal
	// counts: after what a signal told of was put right. The baseline stays.
	Since time.Time
	// Single draws single values, a day's mean where it has several sessions.
	Single bool
}

// The constants of the charts with a memory: the weight lambda of the moving average,
// and the reference value and the decision interval of the cumulative sum in standard
// deviations (D. C. Montgomery, Introduction to Statistical Quality Control,
// recommends about these; from memory).
const (
	lambda           = 0.2
	referenceValue   = 0.5
	decisionInterval = 5
)

// usualBaseline is common practice. With fewer than leastPoints the state cannot be
// told (our rule).
const (
	usualBaseline = 20
	leastPoints   = 10
)

// Point is one of a chart: a session, a day's sessions, or a pickup.
type Point struct {
	Label string    `json:"label"`
	Time  time.Time `json:"time"`
	Value float64   `json:"value_db"` // the mean of N
	N     int       `json:"n"`
}

// The names of panels.
const (
	Individuals = "individuals"
	MovingRange = "moving range"
	Mean        = "mean"
	Deviation   = "standard deviation"
	EWMA        = "EWMA"
	CUSUM       = "CUSUM"
)

// Panel is one of the charts; its slices have a value for each point. Those of the
// cumulative sum are in standard deviations of a point, the lower sum negative.
type Panel struct {
	Name   string         `json:"name"`
	Values []level.Figure `json:"values"`
	Below  []level.Figure `json:"below,omitempty"` // of the cumulative sum
	Centre []level.Figure `json:"centre"`
	Lower  []level.Figure `json:"lower"`
	Upper  []level.Figure `json:"upper"`
}

// Signal is a rule that fired, from one point on through another.
type Signal struct {
	Panel   string    `json:"panel"`
	Rule    string    `json:"rule"`
	Side    string    `json:"side"`    // "high" or "low"
	Decides bool      `json:"decides"` // whether the state follows from it; else it is a reason to look
	Label   string    `json:"label"`
	Time    time.Time `json:"time"` // of the first point
	Last    time.Time `json:"last"`
	Began   time.Time `json:"began"` // when the shift began, as the cumulative sum has it; else as Time

	First, Through int `json:"-"` // points, from 0
}

// Chart is the charts of a series. It marshals to the document of "evenpole drift
// --json".
type Chart struct {
	Subject  string    `json:"subject"`
	Of       string    `json:"of"`
	State    State     `json:"state"`
	Baseline int       `json:"baseline"` // points
	Since    time.Time `json:"since,omitzero"`
	Centre   float64   `json:"centre_db"`
	Sigma    float64   `json:"sigma_db"`        // of one session
	Factor   float64   `json:"deciding_factor"` // by how many times as far from the centre as drawn the limits that decide lie; 0 without any
	Points   []Point   `json:"points"`
	Panels   []Panel   `json:"panels"`
	Signals  []Signal  `json:"signals"`
	Warnings []string  `json:"warnings"`

	start int       // where the charts with a memory start
	sd    []float64 // of each point
}

// HasLimits reports whether there are points enough for a centre and limits: two or more.
func (c *Chart) HasLimits() bool { return c.Sigma > 0 }

func (c *Chart) warn(format string, args ...any) {
	c.Warnings = append(c.Warnings, profiles.Sprintf(format, args...))
}
