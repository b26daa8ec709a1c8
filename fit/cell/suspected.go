package cell

// Suspect is a mistake that the record seems to hold: package screen looks for them.
type Suspect struct {
	Kind     string   `json:"kind"`   // as package screen names it
	Pickup   string   `json:"pickup"` // of a pickup mixed up: the one that it seems to have been
	Session  string   `json:"session"`
	Strings  []int    `json:"strings"` // empty: all
	Columns  []string `json:"columns"` // readings columns concerned
	Cause    string   `json:"cause"`   // one sentence: what it looks like, with figures
	Rows     []Span   `json:"rows"`
	Evidence float64  `json:"evidence"` // ln of how much likelier the record is with the mistake than without, for ranking
}
