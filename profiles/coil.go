package profiles

import (
	"cmp"
	"math"
	"slices"
)

// readCoil reads the second coil of a pickup; nil when the file has none.
func readCoil(pickup *table) *Coil {
	tables := pickup.tables("coil")
	if len(tables) == 0 {
		return nil
	}
	if len(tables) > 1 {
		pickup.failItem("coil", 1, "expected one [[pickup.coil]], the second coil of a pickup whose first is [pickup], got another")
	}
	t := tables[0]
	c := &Coil{
		FromBridge: t.length("from_bridge", required, fromBridge),
		Polarity:   oneOf(t, "polarity", required, Directions()...),
		Winding:    oneOf(t, "winding", optional, Directions()...),
		Poles:      readPoles(t, required),
	}
	c.Winding = cmp.Or(c.Winding, c.Polarity) // the signals add
	for _, key := range []string{"pole_height_min", "pole_height_max", "pole_height_step"} {
		t.either("pole_heights_fixed", key)
	}
	c.Fixed = t.lengths("pole_heights_fixed", c.Poles == Blade, poleHeights)
	set := c.Fixed == nil && c.Poles != Blade
	c.Min = t.length("pole_height_min", set, poleHeights)
	c.Max = t.length("pole_height_max", set, poleHeights)
	c.Step = t.length("pole_height_step", set, steps)
	return c
}

// checkCoil checks the second coil against the first.
func (o *Order) checkCoil(pickup, instrument *table) {
	c := o.Layout.Coil
	if c == nil || !pickup.doc.ok() {
		return
	}
	t := pickup.tables("coil")[0]
	c.Fixed = o.Layout.readHeights(t, "pole_heights_fixed", c.Fixed, c.Poles, len(o.Strings))
	if c.Min > c.Max {
		t.fail("pole_height_max", "expected at least the lowest pole height (%.4g mm), got %.4g mm", c.Min, c.Max)
	}
	if o.ScaleLength == 0 {
		instrument.miss("scale_length_mm", "a length, as how much a string moves over either coil follows from it")
	}
	if o.PickupFromBridge == 0 {
		instrument.miss("pickup_from_bridge_mm", "a length, the first coil's, as the second's is given")
	}
	if o.ScaleLength > 0 && c.FromBridge >= o.ScaleLength {
		t.fail("from_bridge", "expected less than the scale length (%.4g mm), got %.4g mm", o.ScaleLength, c.FromBridge)
	}
}

// readPair reads the other pickup of the instrument.
func (o *Order) readPair(t *table) {
	if t.absent {
		return
	}
	o.Pair = &Pair{
		File:       t.text("order", required),
		Difference: t.number("difference_db", required, differences),
		Tolerance:  t.number("tolerance_db", optional, tolerances),
	}
}

// readSecondRow reads the second coil's poles of a mount.
func (m *Mount) readSecondRow(top *table, under *Layout) {
	tables := top.tables("coil")
	if len(tables) == 0 {
		return
	}
	if len(tables) > 1 {
		top.failItem("coil", 1, "expected one [[coil]], the pickup's second, got another")
	}
	t := tables[0]
	row := &SecondRow{PoleHeights: t.lengths("pole_heights", required, mountLimits["pole_height"]), Poles: readPoles(t, optional)}
	scale, first := t.length("scale_length", required, scales), t.length("first_from_bridge", required, fromBridge)
	second := t.length("from_bridge", required, fromBridge)
	polarity := oneOf(t, "polarity", required, Directions()...)
	winding := cmp.Or(oneOf(t, "winding", optional, Directions()...), polarity)
	if !top.doc.ok() {
		return
	}
	if m.Poles == "" {
		m.Poles = row.Poles
	}
	row.PoleHeights = under.readHeights(t, "pole_heights", row.PoleHeights, row.Poles, len(m.Strings))
	if max(first, second) >= scale {
		t.fail("from_bridge", "expected less than the scale length (%.4g mm), got %.4g mm", scale, max(first, second))
		return
	}
	row.Gain, _ = StringMotion(scale, first, second)
	if polarity != winding {
		row.Gain = -row.Gain
	}
	m.Second = row
}

// checkLengths turns magnets' lengths in stock into the heights that they give, and
// refuses a stock of which none fits.
func (o *Order) checkLengths(t *table) {
	if o.MagnetLengths == nil || !t.doc.ok() {
		return
	}
	if o.Poles != Rod {
		t.fail("magnet_lengths", "expected poles = \"rod\" beside it: the lengths are those of magnets, got %q", string(o.Poles))
		return
	}
	slices.Sort(o.MagnetLengths)
	o.MagnetLengths = slices.Compact(o.MagnetLengths)
	fits := func(length float64) bool {
		h := length - o.FormerDepth
		return h >= o.PoleHeightMin-1e-6 && h <= o.PoleHeightMax+1e-6
	}
	for _, length := range o.MagnetLengths {
		if fits(length) {
			o.PoleHeights = append(o.PoleHeights, math.Round((length-o.FormerDepth)*1e6)/1e6)
		}
	}
	if o.PoleHeights == nil {
		key, _ := t.lookup("magnet_lengths")
		u := unitOf(key)
		t.fail("magnet_lengths", "no length fits: from %.4g to %.4g %s would, for tops %.4g to %.4g mm above a bobbin whose poles begin %.4g mm below its top face; the shortest in stock is %.4g, the longest %.4g %s",
			(o.FormerDepth+o.PoleHeightMin)/u.base, (o.FormerDepth+o.PoleHeightMax)/u.base, u.name, o.PoleHeightMin, o.PoleHeightMax, o.FormerDepth,
			o.MagnetLengths[0]/u.base, o.MagnetLengths[len(o.MagnetLengths)-1]/u.base, u.name)
	}
}
