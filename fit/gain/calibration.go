package gain

import (
	"cmp"
	"time"

	"github.com/pelletier/go-toml/v2"
)

// Reading is the mean of some readings of the source on one string's channel.
type Reading struct {
	String  int     `toml:"string"`      // 0 = whichever: the jig as a whole
	Source  float64 `toml:"source_mv"`   // RMS, true
	SourceU float64 `toml:"source_u_mv"` // expanded uncertainty of Source
	MV      float64 `toml:"reading_mv"`  // RMS as the jig reads it, quiet power taken off
	N       int     `toml:"n"`           // readings that MV is the mean of
	SD      float64 `toml:"sd_db"`       // of one of them; 0 when N is 1
}

// Options says what is measured and how. Jig and Time are required.
type Options struct {
	Jig      string
	Source   string    // what the source was, for people
	K        float64   // coverage factor of the source's uncertainty; 0 = 2, as certificates state it
	Coverage float64   // of the gain's expanded uncertainty; 0 = 0.95
	Time     time.Time // of the calibration
	From     time.Time // readings from then on are corrected; zero = Time
	Months   int       // until the next calibration is due; 0 = 12 (common practice)
}

func (o Options) withDefaults() Options {
	o.K = cmp.Or(o.K, 2)
	o.Coverage = cmp.Or(o.Coverage, 0.95)
	o.Months = cmp.Or(o.Months, 12)
	if o.From.IsZero() {
		o.From = o.Time
	}
	return o
}

// Calibration is what was found, and what it was found from: a file of the shop.
type Calibration struct {
	Jig      string         `toml:"jig" json:"jig"`
	Time     time.Time      `toml:"time" json:"time"`
	From     time.Time      `toml:"from" json:"from" comment:"readings from here on are corrected"`
	Due      toml.LocalDate `toml:"due" json:"due" comment:"when to do it again"`
	Source   string         `toml:"source" json:"source"`
	Gain     float64        `toml:"gain" json:"gain" comment:"true mV = gain x mV read"`
	GainDB   float64        `toml:"gain_db" json:"gain_db"`
	Std      float64        `toml:"u_db" json:"u_db" comment:"standard uncertainty"`
	DOF      float64        `toml:"dof" json:"dof" comment:"effective degrees of freedom"`
	K        float64        `toml:"k" json:"k" comment:"coverage factor"`
	Expanded float64        `toml:"expanded_u_db" json:"expanded_u_db"`
	Coverage float64        `toml:"coverage" json:"coverage"`
	Scatter  float64        `toml:"scatter_db" json:"scatter_db" comment:"standard deviation of one reading"`
	Slope    *Slope         `toml:"slope,omitempty" json:"slope" comment:"by how much the gain grows with level"`
	Channels []Channel      `toml:"channel,omitempty" json:"channels"`
	Readings []Reading      `toml:"reading" json:"-"`
	Warnings []string       `toml:"-" json:"warnings"`
}

// Channel is the gain of one string's channel.
type Channel struct {
	String int     `toml:"string" json:"string"`
	Gain   float64 `toml:"gain" json:"gain"`
	Offset float64 `toml:"offset_db" json:"offset_db"` // from the jig's gain: what it changes a balance by
	Std    float64 `toml:"u_db" json:"u_db"`           // standard uncertainty of Offset
}

// Slope is the straight line of the gain over the level, of a source that was read
// at several levels.
type Slope struct {
	PerDB  float64 `toml:"db_per_db" json:"db_per_db"`
	Std    float64 `toml:"u" json:"u"`
	Low    float64 `toml:"low_mv" json:"low_mv"` // the range of levels
	High   float64 `toml:"high_mv" json:"high_mv"`
	AtLow  float64 `toml:"gain_db_low" json:"gain_db_low"`
	AtHigh float64 `toml:"gain_db_high" json:"gain_db_high"`
}

// InputError says what in the readings cannot be.
type InputError struct{ Msg string }

// Error returns the message.
func (e *InputError) Error() string { return e.Msg }
