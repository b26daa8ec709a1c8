package fit

import "time"

// History is how a model came into a shop. It is the one part of its file that
// does not follow from the data and the program alone.
type History struct {
	Time       time.Time   `json:"time"`
	Before     string      `json:"before"` // the file of the model that was current, "" for none
	Current    bool        `json:"became_current"`
	Why        string      `json:"why"`
	Comparison *Comparison `json:"comparison,omitempty"` // with the one before
}

// What two models are compared on. In every case both predict cells that they
// were not fitted to.
const (
	NeitherSaw = "pickups new to both"
	OneSaw     = "pickups new to one of the two"
	BothSaw    = "pickups known to both, each left out in turn"
	ByKind     = "the record's pickups, each left out in turn of a model of the same kind"
	NoBasis    = "nothing: no pickup can be predicted by both"
)

// Comparison is how two models predict the same cells of pickups: root mean
// square errors in dB, of the first and the second; nil without any.
type Comparison struct {
	Basis   string      `json:"basis"`
	Pickups []string    `json:"pickups"`
	Cells   int         `json:"n_cells"`
	Balance [2]*float64 `json:"rms_db"`
	Level   [2]*float64 `json:"rms_level_db"`
}

// AsWell is how much worse, dB, counts as equally good: a pole that is set 0.02
// mm off does as much. A model of more data should not fall to a rounding error.
const AsWell = 0.05

// SecondAsWell reports whether the second predicts balance at least as well.
// Where nothing can be compared it does: it knows the newer data.
func (c *Comparison) SecondAsWell() bool {
	return c.Balance[0] == nil || *c.Balance[1] <= *c.Balance[0]+AsWell
}
