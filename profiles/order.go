package profiles

import (
	"cmp"
	"math"
	"slices"
)

// ReadOrder reads an order file. A mistake in it is an [*Error].
func ReadOrder(path string, l *Library) (*Order, error) {
	text, err := readText(path)
	if err != nil {
		return nil, err
	}
	return ParseOrder(path, text, l)
}

// ParseOrder reads an order from the text of a file; name stands for the file
// in messages, and l has the string sets that it may name.
//
// An order may leave out scale_length_mm, pickup_from_bridge_mm, magnets,
// offset_db, excite, the [[compare]] tables, and both pole_height_step_mm and
// pole_heights_mm, of which it may give one. Of the stock heights in
// pole_heights_mm only those within the limits are kept; without pole_height_min_mm or
// pole_height_max_mm they are their own limits. Offsets are kept as they are
// given, whatever their mean: [Order.Target] centres them.
//
// Beside these it may give in [pickup] pole_heights_fixed_mm (for poles that
// cannot be set: the pickup is raised, lowered and tilted instead, by up to
// pickup_raise_mm and pickup_lower_mm at either end, 1.5 when they are not
// given), former_depth_mm (for magnet lengths), setting_error_mm and
// string_swing_mm, screw_pitch_mm, at the top customer, product, serial and operator and in
// [instrument] its name, which stand on papers, in [target] resistance_ohm (at 20 °C) with its
// resistance_tolerance_percent, and [[alternative]] tables: string sets that may be fitted
// later, each with a set or with [[alternative.string]] tables under a name.
// A string may leave out
// its note, the core (plain: the gauge; wound: see [EstimateCore]) and, where
// core and gauge are equal, the wrap.
func ParseOrder(name string, text []byte, l *Library) (*Order, error) {
	d, err := parse(name, text)
	if err != nil {
		return nil, err
	}
	o := readOrder(d, l)
	if err := d.err(); err != nil {
		return nil, d.mistaken(err, "; this looks like a mount, and an order is wanted", "pole_heights", "string_heights", "probe_gap")
	}
	return o, nil
}

// readOrder reads an order; what is wrong with it is noted in the document.
func readOrder(d *document, l *Library) *Order {
	o := &Order{File: d.file, ID: d.top.text("id", required)}
	o.Customer, o.Product = d.top.text("customer", optional), d.top.text("product", optional)
	o.Serial, o.Operator = d.top.text("serial", optional), d.top.text("operator", optional)
	instrument := d.top.table("instrument", required)
	pickup := d.top.table("pickup", required)
	target := d.top.table("target", required)
	pair := d.top.table("pair", optional)
	o.readPickup(pickup)
	o.readInstrument(instrument, pickup)
	o.Units = unitsOf(instrument, pickup)
	o.readTarget(target)
	o.Set, o.Strings = readStrings(d.top, l)
	alternatives := d.top.tables("alternative")
	for _, t := range alternatives {
		o.Alternatives = append(o.Alternatives, readAlternative(t, l))
	}
	compare := d.top.tables("compare")
	for _, t := range compare {
		o.Compare = append(o.Compare, Stagger{t.text("name", required), t.lengths("heights", required, poleHeights)})
	}
	o.readPair(pair)
	n := len(o.Strings)
	o.Layout.checkLayout(pickup, n)
	o.FixedHeights = o.Layout.readHeights(pickup, "pole_heights_fixed", o.FixedHeights, o.Poles, n)
	for i, c := range compare {
		o.Compare[i].Heights = o.Layout.readHeights(c, "heights", o.Compare[i].Heights, o.Poles, n)
	}
	if d.ok() {
		o.completeSpread()
		o.checkInstrument(instrument, pickup)
		o.Layout.checkPolesUnder(pickup, n)
		o.checkCoil(pickup, instrument)
		o.checkLengths(pickup)
		o.checkPickup(pickup)
		o.checkFixed(pickup)
		o.checkAlternatives(alternatives)
		count(pickup, "magnets", o.Magnets, len(o.Strings))
		o.checkLists(target)
	}
	return o
}

// readInstrument reads the instrument; what the pickup says of strings as they were
// measured goes in place of their arc and their spread.
func (o *Order) readInstrument(t, pickup *table) {
	o.Instrument = t.text("name", optional)
	o.FretboardRadius = t.length("fretboard_radius", o.MeasuredHeights == nil, radii)
	o.StringSpread = t.length("string_spread", o.Layout.StringPositions == nil, spreads)
	o.ScaleLength = t.length("scale_length", optional, scales)
	o.PickupFromBridge = t.length("pickup_from_bridge", optional, fromBridge)
	if t.has("fretboard_radius") && o.MeasuredHeights != nil {
		t.fail("fretboard_radius", "expected this or string_heights_mm of [pickup], got both")
	}
	if at := o.Layout.StringPositions; at != nil && t.has("string_spread") {
		if wide := at[len(at)-1] - at[0]; math.Abs(o.StringSpread-wide) > sameSpread {
			t.fail("string_spread", "expected what string_positions_mm of [pickup] say, %.4g mm, got %.4g mm: leave one of the two out", wide, o.StringSpread)
		}
	}
}

// sameSpread is how far, in mm, a spread may be off the positions beside it: so well are
// strings told apart across a pickup with a ruler.
const sameSpread = 1

// completeSpread takes what follows from strings as they were measured.
func (o *Order) completeSpread() {
	if at := o.Layout.StringPositions; at != nil {
		o.StringSpread = at[len(at)-1] - at[0]
	}
	if h := o.MeasuredHeights; h != nil && len(h) == len(o.Strings) {
		o.StringHeightFirst, o.StringHeightLast = h[0], h[len(h)-1]
	}
}

func (o *Order) readPickup(t *table) {
	o.Batch = t.text("batch", required)
	o.Magnets = readMagnets(t, optional)
	o.Poles = readPoles(t, required)
	o.Layout = readLayout(t, o.Poles)
	o.Layout.Coil = readCoil(t)
	blade := o.Poles == Blade
	limited := !blade && !t.has("pole_heights")
	o.PoleHeightMin = t.length("pole_height_min", limited, poleHeights)
	o.PoleHeightMax = t.length("pole_height_max", limited, poleHeights)
	t.either("pole_height_step", "pole_heights")
	t.either("pole_height_step", "magnet_lengths")
	t.either("pole_heights", "magnet_lengths")
	o.PoleHeightStep = t.length("pole_height_step", optional, steps)
	o.PoleHeights = t.lengths("pole_heights", optional, poleHeights)
	o.limitByStock(t)
	o.MagnetLengths = t.lengths("magnet_lengths", optional, rodLengths)
	o.FixedHeights = t.lengths("pole_heights_fixed", blade, poleHeights)
	o.PickupRaise = t.length("pickup_raise", optional, travels)
	o.PickupLower = t.length("pickup_lower", optional, travels)
	o.FormerDepth = t.length("former_depth", o.MagnetLengths != nil, formerDepths)
	o.ScrewPitch = t.length("screw_pitch", optional, pitches)
	o.SettingError = t.length("setting_error", optional, settingErrors)
	o.MinGap = t.length("min_gap", required, gaps)
	o.StringSwing = t.length("string_swing", optional, swings)
	t.either("string_heights", "string_height_first")
	t.either("string_heights", "string_height_last")
	o.MeasuredHeights = t.lengths("string_heights", optional, stringHeights)
	o.StringHeightFirst = t.length("string_height_first", o.MeasuredHeights == nil, stringHeights)
	o.StringHeightLast = t.length("string_height_last", o.MeasuredHeights == nil, stringHeights)
}

// limitByStock takes the ends of the heights in stock for limits that the order leaves out.
func (o *Order) limitByStock(t *table) {
	if o.PoleHeights == nil {
		return
	}
	if !t.has("pole_height_min") {
		o.PoleHeightMin = slices.Min(o.PoleHeights)
	}
	if !t.has("pole_height_max") {
		o.PoleHeightMax = slices.Max(o.PoleHeights)
	}
}

// readAlternative reads a string set that may be fitted later; one that names a
// set needs no name of its own.
func readAlternative(t *table, l *Library) StringSet {
	set, list := readStrings(t, l)
	name := t.text("name", set == "")
	return StringSet{Name: cmp.Or(name, set), Strings: list}
}

func (o *Order) readTarget(t *table) {
	o.Offset = t.numbers("offset_db", optional, offsets)
	o.Tolerance = t.number("tolerance_db", required, tolerances)
	o.Excite = oneOf(t, "excite", optional, Travel, Force)
	o.Resistance = t.number("resistance_ohm", optional, resistances)
	o.ResistanceTolerance = t.number("resistance_tolerance_percent", optional, coilTolerances)
	if o.ResistanceTolerance > 0 && o.Resistance == 0 {
		t.fail("resistance_tolerance_percent", "expected resistance_ohm beside it")
	}
}

// readMagnets reads which magnet is where, and refuses one in two places.
func readMagnets(t *table, need bool) []string {
	magnets := t.texts("magnets", need)
	for i, m := range magnets {
		if m != "" && slices.Contains(magnets[:i], m) {
			t.failItem("magnets", i, "expected each magnet once, got %q again", m)
		}
	}
	return magnets
}

// readPoles reads the kind of the poles.
func readPoles(t *table, need bool) PoleKind {
	return oneOf(t, "poles", need, PoleKinds()...)
}

func (o *Order) checkInstrument(instrument, pickup *table) {
	count(pickup, "string_heights", o.MeasuredHeights, len(o.Strings))
	if !pickup.doc.ok() {
		return
	}
	a := arcOf{o.FretboardRadius, o.StringSpread, len(o.Strings), o.StringHeightFirst, o.StringHeightLast}
	if o.MeasuredHeights == nil {
		a.check(instrument, pickup)
	}
	if o.ScaleLength > 0 && o.PickupFromBridge >= o.ScaleLength {
		instrument.fail("pickup_from_bridge", "expected less than the scale length (%.4g mm), got %.4g mm", o.ScaleLength, o.PickupFromBridge)
	}
}

func (o *Order) checkPickup(t *table) {
	low, high := o.PoleHeightMin, o.PoleHeightMax
	if low > high {
		t.fail("pole_height_max", "expected at least the lowest pole height (%.4g mm), got %.4g mm", low, high)
		return
	}
	if o.PoleHeights == nil {
		return
	}
	o.PoleHeights = slices.DeleteFunc(o.PoleHeights, func(h float64) bool { return h < low || h > high })
	if len(o.PoleHeights) == 0 {
		t.fail("pole_heights", "expected at least one height from %.4g to %.4g mm, got none", low, high)
	}
}

// checkFixed checks fixed poles against the strings, and gives the pickup the usual
// travel when the order gives none.
func (o *Order) checkFixed(t *table) {
	if o.FixedHeights == nil {
		for _, key := range []string{"pickup_raise", "pickup_lower"} {
			if t.has(key) {
				t.fail(key, "expected pole_heights_fixed_mm beside it: only a pickup whose poles are fixed is moved")
			}
		}
		return
	}
	if o.Poles == Blade {
		o.PoleHeightMin, o.PoleHeightMax = slices.Min(o.FixedHeights), slices.Max(o.FixedHeights)
		for _, key := range []string{"pole_height_min", "pole_height_max", "pole_height_step", "pole_heights", "magnet_lengths"} {
			if t.has(key) {
				t.fail(key, "expected no such key beside poles = \"blade\": no string's height can be set, and pole_heights_fixed_mm says where the blade stands")
			}
		}
	}
	for _, travel := range []struct {
		key string
		mm  *float64
	}{{"pickup_raise", &o.PickupRaise}, {"pickup_lower", &o.PickupLower}} {
		if !t.has(travel.key) {
			*travel.mm = UsualTravel
		}
	}
}

// checkAlternatives refuses sets with another number of strings, and a name that
// stands twice.
func (o *Order) checkAlternatives(tables []*table) {
	names := []string{o.Set}
	for i, a := range o.Alternatives {
		if len(a.Strings) != len(o.Strings) {
			tables[i].fail("set", "expected %d strings, as the order has, got %d", len(o.Strings), len(a.Strings))
		}
		if slices.Contains(names, a.Name) {
			tables[i].fail("name", "expected each string set once, got %q again", a.Name)
		}
		names = append(names, a.Name)
	}
}

func (o *Order) checkLists(target *table) {
	n := len(o.Strings)
	count(target, "offset_db", o.Offset, n)
	if o.Offset == nil {
		o.Offset = make([]float64, n)
	}
}
