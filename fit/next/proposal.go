package next

import (
	"fmt"

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

// Words say the capture, which is the number of those proposed, lengths in mm.
func (p *Proposal) Words(number int) string {
	what := fmt.Sprintf("capture pickup %s under %q", p.Pickup, p.Set)
	switch p.WoundFor {
	case 0: // one of the record
	case number:
		what = fmt.Sprintf("wind a test pickup with poles at %s mm and capture it under %q", profiles.Millimetres.Figures(p.PoleHeights), p.Set)
	default:
		what = fmt.Sprintf("capture the test pickup of %d under %q", p.WoundFor, p.Set)
	}
	if p.Higher > 0 {
		what += profiles.Sprintf(", the strings %.1f mm higher than usual", p.Higher)
	}
	return what
}
