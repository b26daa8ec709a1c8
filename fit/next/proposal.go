package next

import (
	"evenpole/fit"
	"evenpole/profiles"
)

// Want is a pickup to come, whose balance is to be predicted.
type Want struct {
	Setup   *fit.Setup
	Heights []float64 // mm, of its poles
}

// Proposal is a capture that would narrow predictions, and by how much.
type Proposal struct {
	Pickup        string            `json:"pickup"`    // one of the record; "" = a test pickup to be wound
	WoundFor      int               `json:"wound_for"` // number of the capture that a test pickup is wound for, this one or one before; 0 for one of the record
	Set           string            `json:"set"`
	Strings       []profiles.String `json:"-"`
	PoleHeights   []float64         `json:"pole_heights_mm"`
	StringHeights []float64         `json:"string_heights_mm"` // undersides
	Higher        float64           `json:"higher_mm"`         // by which the strings lie over where they usually do
	Before        float64           `json:"before_db"`         // see Next
	After         float64           `json:"after_db"`
}
