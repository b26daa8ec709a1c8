package profiles

import (
	"math"
	"slices"
)

// UsualSpacing is the distance between neighbouring poles and between the strings over
// them, mm centre to centre, of an instrument with a plain first string, when nothing
// says it (common practice).
const UsualSpacing = 10.4

// String is one string as the builder bought it. Lengths in mm.
type String struct {
	Note          string  `json:"note"`     // scientific pitch such as "E4" or "F#3"; may be empty
	Gauge         float64 `json:"gauge_mm"` // mm, overall diameter
	Core          float64 `json:"core_mm"`  // mm, diameter of the steel core; plain: equal to Gauge
	Wrap          Wrap    `json:"wrap"`
	CoreEstimated bool    `json:"core_estimated"` // Core comes from the gauge by common practice, not from a caliper
}

// Plain reports whether the string has no wrap.
func (s String) Plain() bool { return s.Wrap == Plain }

// StringSet is a set of strings, string 1 (the highest-pitched) first.
type StringSet struct {
	Name    string   `json:"name"`
	Source  string   `json:"source"` // where the figures come from: "common practice", "measured by the shop", ...
	Strings []String `json:"strings"`
}

// Stagger is a named list of pole heights to compare with the plan.
type Stagger struct {
	Name    string
	Heights []float64 // mm, string 1 first
}

// Order is one customer's pickup: instrument, strings, limits and target.
type Order struct {
	File  string // where it was read from, for messages
	ID    string
	Units Units // of most of the lengths of its instrument and pickup

	Customer   string // for the papers, as the next four: "" when not given
	Product    string // what the shop calls such a pickup
	Serial     string // of this one
	Operator   string // who builds it
	Instrument string // what it is for

	FretboardRadius  float64 // mm, 0 = flat
	StringSpread     float64 // mm, string 1 to the last, centre to centre, at the pickup
	ScaleLength      float64 // mm, 0 when not given
	PickupFromBridge float64 // mm, 0 when not given

	Batch             string
	Magnets           []string // which magnet will stand under which string, string 1 first; nil when not said
	Poles             PoleKind
	PoleHeightMin     float64   // mm above the bobbin plane
	PoleHeightMax     float64   // mm
	PoleHeightStep    float64   // mm, 0 when not given
	PoleHeights       []float64 // mm, stock heights within the limits; nil when any step will do
	FixedHeights      []float64 // mm, of poles that cannot be set, so that the pickup is moved; nil when poles are planned
	PickupRaise       float64   // mm by which either end of a pickup with fixed poles may be raised
	PickupLower       float64   // mm by which it may be lowered
	FormerDepth       float64   // mm from the bobbin plane down to the poles' lower ends; 0 when not given
	ScrewPitch        float64   // mm that a screw moves in a turn; 0 when not given
	SettingError      float64   // mm, standard deviation with which a pole is set; 0 when not given
	MinGap            float64   // mm, underside of the string to pole top
	StringSwing       float64   // mm that a string swings towards its pole, kept free beside MinGap
	MagnetLengths     []float64 // mm, what magnets in stock are long, ascending; nil when they are cut to length
	StringHeightFirst float64   // mm, underside over the bobbin plane, string 1
	StringHeightLast  float64   // mm, the last string
	MeasuredHeights   []float64 // mm, undersides of all strings as measured; nil where they follow the fretboard's arc
	Layout            Layout

	Pair *Pair // the other pickup of the instrument; nil when the order names none

	Offset    []float64  // dB, wanted balance by string as given; zeros when not given. See [Order.Target]
	Tolerance float64    // dB, every string within +- this of its target
	Excite    Excitation // Travel, Force, or "" (as the jig plucks)

	Resistance          float64 // ohm of the coil at 20 °C; 0 when not given
	ResistanceTolerance float64 // %, the coil within +- this; 0 when not given

	Set          string // name of the string set, "" when strings were listed
	Strings      []String
	Alternatives []StringSet // what the player may fit later, as many strings each
	Compare      []Stagger
}

// Pair is the other pickup of an instrument, and how loud this one is wanted beside it.
type Pair struct {
	File       string  // of its order, as this order names it
	Difference float64 // dB, this pickup's mean level less the other's
	Tolerance  float64 // dB
}

// Target is the wanted balance of each string, in dB: the offsets, centred. A balance
// has no mean, so that of the offsets is taken off: the same offset on every string
// asks for nothing.
func (o *Order) Target() []float64 {
	target, mean := make([]float64, len(o.Strings)), o.offsetMean()
	for i := range o.Offset {
		target[i] = o.Offset[i] - mean
	}
	return target
}

// CentringNote says what [Order.Target] took off the offsets; "" when they had no mean.
func (o *Order) CentringNote() string {
	mean := o.offsetMean()
	if math.Abs(mean) < 1e-9 { // rounding
		return ""
	}
	return Sprintf("offset_db averages %+.3g dB; balances have no mean, so that is taken off every offset", mean)
}

// offsetMean is the mean of the offsets, in dB.
func (o *Order) offsetMean() float64 {
	sum := 0.0
	for _, x := range o.Offset {
		sum += x
	}
	return sum / float64(max(1, len(o.Offset)))
}

// RestGap is the least gap between a pole and its string at rest, in mm.
func (o *Order) RestGap() float64 { return o.MinGap + o.StringSwing }

// StringHeights returns the height of each string's underside above the bobbin
// plane, in mm: as measured, or the outer two as ordered and the inner ones on the
// fretboard's arc.
func (o *Order) StringHeights() []float64 {
	if o.MeasuredHeights != nil {
		return slices.Clone(o.MeasuredHeights)
	}
	if at := o.Layout.StringPositions; at != nil {
		return arcAt(o.FretboardRadius, at, o.StringHeightFirst, o.StringHeightLast)
	}
	return ArcHeights(o.FretboardRadius, o.StringSpread, len(o.Strings), o.StringHeightFirst, o.StringHeightLast)
}

// Spacing is the mean distance between neighbouring poles' strings, mm; strings that share
// a pole count as one.
func (o *Order) Spacing() float64 {
	at := o.Layout.PolesAcross(len(o.Strings), o.StringSpread)
	if o.Layout.PolesPerString == 2 {
		at = o.Layout.Across(len(o.Strings), o.StringSpread)
	}
	if len(at) < 2 {
		return 0
	}
	return (at[len(at)-1] - at[0]) / float64(len(at)-1)
}

// Fixed reports whether no pole of the pickup can be set, so that the whole of it is moved.
func (o *Order) Fixed() bool {
	return o.FixedHeights != nil && (o.Layout.Coil == nil || o.Layout.Coil.Fixed != nil)
}

// Mount is what is on the jig for one capture: a pickup under strings, or,
// with only Batch, Magnets and ProbeGap, loose magnets by position.
type Mount struct {
	File string
	Text []byte // the file as it was read, for the shop's own copy

	Pickup        string
	Batch         string
	Poles         PoleKind
	PoleHeights   []float64  // mm, as measured, string 1 first; the mean where they were read twice
	Magnets       []string   // which magnet is where; nil when not known
	StringHeights []float64  // mm, string 1 first; likewise
	Under         Under      // what is under the strings where it is not one pole each
	Second        *SecondRow // the second coil's poles; nil when there is none
	PolesTwice    *Twice     // what two readings of the poles' heights differ by; nil when read once
	StringsTwice  *Twice     // of the strings'
	ProbeGap      float64    // mm from probe to pole face; 0 when not given

	Set     string
	Strings []String
}

// SecondRow is the row of poles in a pickup's second coil.
type SecondRow struct {
	Poles       PoleKind  `json:"-"` // no part of Digest, so that mounts keep their names
	PoleHeights []float64 // mm, as measured, string 1 first
	Gain        float64   // how far a string moves over it by how far it moves over the first; negative where the signals are subtracted
}

// Loose reports whether the mount holds loose magnets rather than a pickup.
func (m *Mount) Loose() bool { return m.Pickup == "" && len(m.Strings) == 0 }
