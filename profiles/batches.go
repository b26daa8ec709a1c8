package profiles

// BatchesFile is the file in a shop folder that says what magnets were ordered.
const BatchesFile = "batches.toml"

// Batches is what a shop says of its batches of magnets. Shares and risks are
// fractions; 0 is not given.
//
//	# batches.toml
//	reference = "gale"                # what other batches are compared with
//	acceptable_percent = 1            # beyond the limits: as ordered
//	limiting_percent = 10             # beyond the limits: not as ordered
//	producer_risk_percent = 5         # chance to reject what is as ordered
//	consumer_risk_percent = 10        # chance to accept what is not
//	[[batch]]
//	name = "squall"
//	min_mt = 250                      # at the pole face's probe gap, below
//	max_mt = 330
//	probe_gap_mm = 0.5
//	rod_diameter_in = 0.1875          # with these, readings at other gaps can be used
//	rod_length_mm = 16.5
//
// All keys but a batch's name may be left out; min_mt and max_mt want
// probe_gap_mm, and a rod's diameter and length want each other.
type Batches struct {
	File         string
	Reference    string
	Acceptable   float64
	Limiting     float64
	ProducerRisk float64
	ConsumerRisk float64
	List         []MagnetBatch
}

// MagnetBatch is what was ordered under one name. 0 is not given.
type MagnetBatch struct {
	Name        string
	Min, Max    float64 // mT, what every magnet should lie within
	ProbeGap    float64 // mm, probe to pole face
	RodDiameter float64 // mm
	RodLength   float64 // mm
}

// ReadBatches reads a batches file. A mistake in it is an [*Error].
func ReadBatches(path string) (*Batches, error) {
	text, err := readText(path)
	if err != nil {
		return nil, err
	}
	return ParseBatches(path, text)
}

// ParseBatches reads the text of a batches file; name stands for the file in
// messages.
func ParseBatches(name string, text []byte) (*Batches, error) {
	d, err := parse(name, text)
	if err != nil {
		return nil, err
	}
	b := readBatches(d)
	if err := d.err(); err != nil {
		return nil, err
	}
	return b, nil
}

// readBatches reads what was ordered; what is wrong with it is noted in the document.
func readBatches(d *document) *Batches {
	percent := func(key string) float64 { return d.top.number(key, optional, shares) / 100 }
	b := &Batches{
		File:         d.file,
		Reference:    d.top.text("reference", optional),
		Acceptable:   percent("acceptable_percent"),
		Limiting:     percent("limiting_percent"),
		ProducerRisk: percent("producer_risk_percent"),
		ConsumerRisk: percent("consumer_risk_percent"),
	}
	for _, t := range d.top.tables("batch") {
		one := readMagnetBatch(t)
		if _, twice := b.Batch(one.Name); twice && one.Name != "" {
			t.fail("name", "expected a name that no other batch has, got %q again", one.Name)
		}
		b.List = append(b.List, one)
	}
	return b
}

func readMagnetBatch(t *table) MagnetBatch {
	limited := t.has("min_mt", "max_mt")
	rod := t.has("rod_diameter", "rod_length")
	m := MagnetBatch{
		Name:        t.text("name", required),
		Min:         t.number("min_mt", optional, fields),
		Max:         t.number("max_mt", optional, fields),
		ProbeGap:    t.length("probe_gap", limited, probeGaps),
		RodDiameter: t.length("rod_diameter", rod, rodDiameters),
		RodLength:   t.length("rod_length", rod, rodLengths),
	}
	if m.Min > 0 && m.Max > 0 && m.Min >= m.Max {
		t.fail("max_mt", "expected more than min_mt, %.4g mT, got %.4g", m.Min, m.Max)
	}
	return m
}

// Batch returns what was ordered under a name, and whether it is listed.
func (b *Batches) Batch(name string) (MagnetBatch, bool) {
	for _, m := range b.List {
		if m.Name == name {
			return m, true
		}
	}
	return MagnetBatch{}, false
}
