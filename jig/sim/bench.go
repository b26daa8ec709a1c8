package sim

import "math"

// bench is what is mounted, and the levels and fields that the jig would measure.
type bench struct {
	Mounted
	truth  []float64 // mV RMS: see TrueLevels
	levels []float64 // mV RMS: with what is off in this mounting and in the jig's slots
	hum    []float64 // mV RMS
	fields []float64 // T at the probe, by position
}

func newBench(m Mounted, cfg Config, s Scatter, now Mounting) bench {
	b := bench{Mounted: m}
	r := source(cfg.Seed, "mount", now.Number)
	hand := wayOf(cfg.Seed, now.Hand)
	together := hand.scatter * s.Height * r.NormFloat64()
	drift := math.Pow(10, cfg.Practice.Drift*float64(cfg.Practice.daysUntil(now.Number))/20)
	p := newPickup(m)
	for i, str := range m.Strings {
		str = str.actual(cfg.Seed, i, s.String)
		swing := str.swing(cfg.Excite, m.ScaleLength, m.PickupFromBridge)
		slot := source(cfg.Seed, "channel", i)
		channel, hum := around(slot, s.Channel), around(slot, 0.1)
		height := m.StringHeights[i]
		off := height + together + hand.scatter*s.Height/2*r.NormFloat64() + hand.off(i, len(m.Strings))
		b.truth = append(b.truth, p.level(str, i, height, swing))
		b.levels = append(b.levels, drift*channel*p.level(str, i, off, swing))
		b.hum = append(b.hum, s.Hum*hum)
	}
	b.fields = p.fields(m.ProbeGap)
	if len(m.Poles) == 0 {
		for _, magnet := range m.Loose {
			b.fields = append(b.fields, newPickup(Mounted{Poles: []Pole{magnet}}).fields(m.ProbeGap)...)
		}
	}
	return b
}
