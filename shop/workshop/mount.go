package workshop

import (
	"fmt"

	"evenpole/jig/sim"
	"evenpole/profiles"
)

// FlatMount is what a simulated jig has on it when nothing is said: a test pickup
// with flat tops.
const FlatMount = `pickup = "sim"
batch = "sim"
poles = "rod"
pole_heights_mm = [1, 1, 1, 1, 1, 1]
string_heights_mm = [3, 3, 3, 3, 3, 3]
set = "light plain-third 10-46"
`

// lot is the lot of rods that a simulated jig has for a batch's name: 3/16 in by
// 0.650 in, of the effective remanence that such rods were found to have (see
// package field); an ordinary scatter.
func lot(name string) sim.Batch {
	return sim.Batch{Name: name, Remanence: 0.31, SD: 0.03, Radius: 2.38, Length: 16.5}
}

// Mounted is a mount on a simulated jig. Magnets that the mount does not name are
// drawn by pickup and string, so that a pickup always has its own.
func Mounted(m *profiles.Mount, seed uint64) (sim.Mounted, error) {
	out := sim.Mounted{StringHeights: m.StringHeights, ProbeGap: m.ProbeGap}
	batch := lot(m.Batch)
	if m.Loose() {
		for _, name := range m.Magnets {
			out.Loose = append(out.Loose, batch.Magnet(seed, name))
		}
		return out, nil
	}
	for i, s := range m.Strings {
		name := fmt.Sprintf("%s, string %d", m.Pickup, i+1)
		if m.Magnets != nil {
			name = m.Magnets[i]
		}
		pole := batch.Magnet(seed, name)
		pole.Height = m.PoleHeights[i]
		out.Poles = append(out.Poles, pole)
		hz := 0.0
		if s.Note != "" {
			var err error
			if hz, err = profiles.Pitch(s.Note); err != nil {
				return out, err
			}
		}
		out.Strings = append(out.Strings, sim.String{Gauge: s.Gauge, Core: s.Core, Wrap: string(s.Wrap), Freq: hz})
	}
	return out, nil
}
