package sim

import "fmt"

// Pole is a magnet as it stands in a pickup. Screws and slugs over a bar magnet
// pass for rods of the field that they have.
type Pole struct {
	Height       float64 // mm, top above the bobbin plane
	Radius       float64 // mm
	Length       float64 // mm
	Remanence    float64 // T, effective: of an even rod with the same field over its face; negative: the south pole is up
	Permeability float64 // relative, along the recoil line; 0: 4; 1: neither other poles nor the coil magnetise it
}

// Mounted is what is on the jig: a pickup under strings, or loose magnets, or
// nothing. Zero values of the last six members mean the defaults.
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
	Steel            Steel     // of the strings' cores
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
	setDefault(&m.Steel.Permeability, steel.permeability)
	setDefault(&m.Steel.Saturation, steel.saturation)
	return m
}

// x is where a pole stands across the strings, in mm.
func (m Mounted) x(i int) float64 {
	return (float64(i) - float64(len(m.Poles)-1)/2) * m.Spacing
}

// Batch is a purchased lot of rod magnets.
type Batch struct {
	Name         string
	Remanence    float64 // T, effective, of the middle one
	SD           float64 // relative, from magnet to magnet
	Radius       float64 // mm
	Length       float64 // mm
	Permeability float64 // of every one, as a Pole's
}

// Magnet returns a magnet of the batch, flush with the bobbin plane. The same
// seed and names always give the same one.
func (b Batch) Magnet(seed uint64, name string) Pole {
	r := source(seed, "magnet", b.Name, name)
	return Pole{Radius: b.Radius, Length: b.Length, Remanence: b.Remanence * around(r, b.SD), Permeability: b.Permeability}
}
