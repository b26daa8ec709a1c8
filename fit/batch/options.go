package batch

import (
	"fmt"

	"evenpole/fit/field"
)

// Options are what the shop may set. The zero value of each means its default.
type Options struct {
	Reference  string               // batch that others are compared with; default: the first of the record
	Gap        float64              // mm, probe to pole face, that figures and limits are for; default: the one at which most takes were made
	Rods       map[string]field.Rod // radius and length, mm, by batch: readings at other gaps are converted with them, on the axis; default: none, and they are refused
	Limits     Limits               // of every magnet; default: none
	Risks      Risks                // of the decision; defaults: see Risks
	Share      float64              // of the batch that the tolerance interval holds; default: 0.95
	Confidence float64              // confidence of intervals and of the tolerance interval; default: 0.95
	Within     float64              // wanted half-width of the mean's interval, relative; default: 0.01
}

func (o Options) withDefaults() Options {
	o.Risks = o.Risks.withDefaults()
	for _, f := range []struct {
		value *float64
		usual float64
	}{{&o.Share, 0.95}, {&o.Confidence, 0.95}, {&o.Within, 0.01}} {
		if *f.value == 0 {
			*f.value = f.usual
		}
	}
	return o
}

// Significance of tests: of those for outliers and trends, and of those that only warn,
// of which there are many.
const (
	significance = 0.05
	suspicion    = 0.01
)

// Refusal says why the readings cannot be characterised as asked, and what
// would help.
type Refusal struct{ Msg string }

func (r *Refusal) Error() string { return r.Msg }

func refused(format string, args ...any) error { return &Refusal{fmt.Sprintf(format, args...)} }

// Limits are what every magnet's strength should lie within, mT; nil is none on
// that side.
type Limits struct {
	Min *float64 `json:"min_mt"`
	Max *float64 `json:"max_mt"`
}

// Risks say how sure a decision on a batch is to be. Zero means the value in
// brackets: our defaults, not a standard's.
type Risks struct {
	Acceptable float64 `json:"acceptable"`    // a batch with this share beyond the limits is as ordered [0.01]
	Limiting   float64 `json:"limiting"`      // one with this share is not [0.10]
	Producer   float64 `json:"producer_risk"` // chance that a batch as ordered is rejected [0.05]
	Consumer   float64 `json:"consumer_risk"` // chance that one that is not is accepted [0.10]
}

func (r Risks) withDefaults() Risks {
	for _, f := range []struct {
		value *float64
		usual float64
	}{{&r.Acceptable, 0.01}, {&r.Limiting, 0.10}, {&r.Producer, 0.05}, {&r.Consumer, 0.10}} {
		if *f.value == 0 {
			*f.value = f.usual
		}
	}
	return r
}
