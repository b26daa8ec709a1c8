package profiles

import (
	"bytes"
)

// ReadMount reads a mount file. A mistake in it is an [*Error].
func ReadMount(path string, l *Library) (*Mount, error) {
	text, err := readText(path)
	if err != nil {
		return nil, err
	}
	return ParseMount(path, text, l)
}

// ParseMount reads a mount from the text of a file; name stands for the file in
// messages, and l has the string sets that it may name.
//
// A mount that gives magnets and nothing of a pickup holds loose magnets, and
// needs batch, magnets and probe_gap_mm. In place of string_heights_mm a mount
// may give string_height_first_mm, string_height_last_mm and
// fretboard_radius_mm, with string_spread_mm; without the last, strings are
// taken to be 10.4 mm apart when the first is plain, and otherwise it is
// required, but for a flat fretboard. Of heights that were read twice, as
// pole_heights_again_mm and string_heights_again_mm beside the first readings, the mean
// counts.
func ParseMount(name string, text []byte, l *Library) (*Mount, error) {
	d, err := parse(name, text)
	if err != nil {
		return nil, err
	}
	m := readMount(d, l)
	m.Text = bytes.Clone(text)
	if err := d.err(); err != nil {
		return nil, d.mistaken(err, "; this looks like an order, and a mount is wanted", "instrument", "target")
	}
	return m, nil
}

// readMount reads a mount; what is wrong with it is noted in the document.
func readMount(d *document, l *Library) *Mount {
	top := d.top
	loose := top.has("magnets") && !top.has("pickup", "poles", "pole_heights",
		"string_heights", "string_height_first", "string_height_last", "set", "string")
	m := &Mount{
		File:     d.file,
		Batch:    top.text("batch", required),
		Magnets:  readMagnets(top, loose),
		ProbeGap: top.length("probe_gap", loose, mountLimits["probe_gap"]),
	}
	if !loose {
		m.readPickup(top, l)
	}
	return m
}

func (m *Mount) readPickup(t *table, l *Library) {
	m.Pickup = t.text("pickup", required)
	m.Poles = readPoles(t, optional)
	m.PoleHeights = t.lengths("pole_heights", required, mountLimits["pole_height"])
	m.PoleHeights, m.PolesTwice = t.again("pole_heights", m.PoleHeights, mountLimits["pole_height"])
	under := Layout{PolesPerString: t.whole("poles_per_string", optional, oneOrTwo), StringsPerPole: t.whole("strings_per_pole", optional, oneOrTwo)}
	m.Set, m.Strings = readStrings(t, l)
	m.readHeights(t)
	n := len(m.Strings)
	m.readSecondRow(t, &under)
	m.Under = under.under(m.Poles)
	if t.doc.ok() {
		m.PoleHeights = under.readHeights(t, "pole_heights", m.PoleHeights, m.Poles, n)
	}
	if !t.doc.ok() {
		return
	}
	count(t, "magnets", m.Magnets, n)
	count(t, "string_heights", m.StringHeights, n)
	for i := range min(len(m.PoleHeights), len(m.StringHeights)) {
		if pole, s := m.PoleHeights[i], m.StringHeights[i]; pole >= s {
			t.failUnder("pole_heights", i, "expected pole %d below its string at %.4g mm, got %.4g mm", i+1, s, pole)
		}
	}
}

// readHeights reads the height of each string, or works it out from the arc.
func (m *Mount) readHeights(t *table) {
	for _, key := range []string{"string_height_first", "string_height_last", "fretboard_radius", "string_spread"} {
		t.either("string_heights", key)
	}
	onArc := t.has("string_height_first", "string_height_last")
	m.StringHeights = t.lengths("string_heights", !onArc, mountLimits["string_height"])
	m.StringHeights, m.StringsTwice = t.again("string_heights", m.StringHeights, mountLimits["string_height"])
	a := arcOf{
		radius: t.length("fretboard_radius", onArc, radii),
		spread: t.length("string_spread", optional, spreads),
		n:      len(m.Strings),
		first:  t.length("string_height_first", onArc, stringHeights),
		last:   t.length("string_height_last", onArc, stringHeights),
	}
	if !onArc || !t.doc.ok() {
		return
	}
	if !t.has("string_spread") {
		if a.radius > 0 && !m.Strings[0].Plain() {
			t.miss("string_spread_mm", "a length, as the first string is not plain")
			return
		}
		// A millimetre more or less of the whole spread moves the middle strings by
		// about 0.05 mm at a radius of 250 mm.
		a.spread = UsualSpacing * float64(a.n-1)
	}
	a.check(t, t)
	m.StringHeights = ArcHeights(a.radius, a.spread, a.n, a.first, a.last)
}
