package sim

import (
	"fmt"
	"math"

	"evenpole/fit/field"
)

// Pole is a magnet as it stands in a pickup. Screws and slugs over a bar magnet
// pass for rods of the field that they have.
type Pole struct {
	Height    float64 // mm, top above the bobbin plane
	Radius    float64 // mm
	Length    float64 // mm
	Remanence float64 // T, effective; negative: the south pole is up
}

func (p Pole) rod() field.Rod {
	return field.Rod{Radius: p.Radius, Length: p.Length, Remanence: p.Remanence}
}

// String is a string as it is on the jig.
type String struct {
	Gauge float64 // mm, overall diameter
	Core  float64 // mm, diameter of the steel core; 0: Gauge
	Wrap  string  // of the wound part; a name that is not known is not magnetic
	Freq  float64 // Hz, sounding pitch; 0: 220
}

// Mounted is what is on the jig: a pickup under strings, or loose magnets, or
// nothing. Zero values of the last five members mean the defaults.
type Mounted struct {
	Poles            []Pole    // string 1 first
	Strings          []String  // string 1 first
	StringHeights    []float64 // mm, undersides above the bobbin plane
	Loose            []Pole    // magnets by position, for field readings without a pickup
	Spacing          float64   // mm between neighbouring poles, 10.4
	ScaleLength      float64   // mm, 648
	PickupFromBridge float64   // mm, 100
	Coil             float64   // sensitivity relative to the usual coil, 1
	ProbeGap         float64   // mm from the probe to a pole's face, 0.5
}

func (m Mounted) withDefaults() Mounted {
	if n := len(m.Strings); len(m.StringHeights) < n || len(m.Poles) < n {
		panic(fmt.Sprintf("sim: %d strings with %d heights over %d poles", n, len(m.StringHeights), len(m.Poles)))
	}
	for i, s := range m.Strings {
		if s.Gauge <= 0 {
			panic(fmt.Sprintf("sim: string %d with a gauge of %g mm", i+1, s.Gauge))
		}
	}
	setDefault(&m.Spacing, 10.4)
	setDefault(&m.ScaleLength, 648)
	setDefault(&m.PickupFromBridge, 100)
	setDefault(&m.Coil, 1)
	setDefault(&m.ProbeGap, 0.5)
	return m
}

// x is where a pole stands across the strings, in mm.
func (m Mounted) x(i int) float64 {
	return (float64(i) - float64(len(m.Poles)-1)/2) * m.Spacing
}

// row is the poles as the source of a field.
func (m Mounted) row() field.Row {
	row := make(field.Row, len(m.Poles))
	for i, p := range m.Poles {
		row[i] = field.Pole{Rod: p.rod(), X: m.x(i), Top: p.Height}
	}
	return row
}

// bench is what is mounted, and what the jig would measure of it.
type bench struct {
	Mounted
	truth  []float64 // mV RMS: see TrueLevels
	levels []float64 // mV RMS: with what is off in this mounting and in the jig's slots
	hum    []float64 // mV RMS
	fields []float64 // T at the probe, by position
}

func newBench(m Mounted, cfg Config, s Scatter, mounting int) bench {
	b := bench{Mounted: m}
	r := source(cfg.Seed, "mount", mounting)
	together := s.Height * r.NormFloat64()
	p := newPickup(m)
	for i, str := range m.Strings {
		str = str.actual(cfg.Seed, i, s.String)
		swing := str.swing(cfg.Excite, m.ScaleLength, m.PickupFromBridge)
		slot := source(cfg.Seed, "channel", i)
		channel, hum := around(slot, s.Channel), around(slot, 0.1)
		height := m.StringHeights[i]
		off := height + together + s.Height/2*r.NormFloat64()
		b.truth = append(b.truth, p.level(str, i, height, swing))
		b.levels = append(b.levels, channel*p.level(str, i, off, swing))
		b.hum = append(b.hum, s.Hum*hum)
	}
	b.fields = m.probe()
	return b
}

// actual is the string that came out of the packet. The same one is there in
// each mounting.
func (s String) actual(seed uint64, slot int, sd float64) String {
	wound := s.Core != 0 && s.Core < s.Gauge
	factor := around(source(seed, "string", slot, s), sd)
	if !wound {
		s.Gauge *= factor
		s.Core, s.Wrap = s.Gauge, ""
	} else {
		s.Core = math.Min(s.Core*factor, s.Gauge)
	}
	setDefault(&s.Freq, 220)
	return s
}

// probe returns the flux density in T at each position: over the poles with
// their neighbours in place, or over loose magnets, each on its own.
func (m Mounted) probe() []float64 {
	var all []float64
	if len(m.Poles) == 0 {
		for _, p := range m.Loose {
			all = append(all, p.rod().OnAxis(m.ProbeGap))
		}
		return all
	}
	row := m.row()
	for i, p := range m.Poles {
		_, _, bz := row.At(m.x(i), 0, p.Height+m.ProbeGap)
		all = append(all, bz)
	}
	return all
}
