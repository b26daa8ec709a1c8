package magnetics

import (
	"math"
	"math/rand/v2"
)

// World is what a shop's pickups and strings are made of.
type World struct {
	Rod   Rod
	Coil  Coil
	Steel Steel
	Wraps map[string]Steel // rings of turns as a whole
}

// Draw draws a world from what is physically possible. Ranges are our assumptions about
// the trade, around handbook figures from memory (alnico's recoil permeability of 2 to
// 6, that of hard magnets near 1; initial permeabilities of drawn carbon steel of 15 to
// 200, of its polarisation of 1.5 to 2 T; nickel's 0.61 T).
func Draw(r *rand.Rand) *World {
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	logBetween := func(a, b float64) float64 { return a * math.Pow(b/a, r.Float64()) }
	w := &World{Rod: Rod{Radius: between(2.2, 2.6), Length: between(13, 18), Permeability: between(2, 6), Remanence: between(0.7, 1.3)}}
	if r.IntN(4) == 0 {
		w.Rod.Permeability, w.Rod.Remanence = 1.05, between(0.25, 0.8)
	}
	w.Coil.Inner = w.Rod.Radius + between(0.3, 0.9)
	w.Coil.Outer = w.Coil.Inner + between(2, 4)
	w.Coil.Top = between(1, 2.5)
	w.Coil.Bottom = w.Coil.Top + between(7, 12)
	w.Steel = Steel{Saturation: between(1.5, 2), Permeability: logBetween(15, 200), Turning: logBetween(1.5e3, 5e3), Reversible: r.Float64()}
	w.Steel.Knee = between(1, 3)
	if r.IntN(4) > 0 {
		w.Steel.Turned = between(0.3, 0.8)
	}
	turns := logBetween(7, 25) // permeability of the ring of a strongly magnetic wrap
	filled := between(math.Pi/4, 1)
	w.Wraps = map[string]Steel{}
	for _, m := range []struct {
		name             string
		saturation, less float64
	}{{"nickel_plated_steel", 1.9, 1}, {"nickel", 0.61, between(0.25, 0.8)}, {"stainless", between(0.6, 1.5), between(0.3, 0.9)}, {"bronze", 0, 0}, {"phosphor_bronze", 0, 0}} {
		w.Wraps[m.name] = Steel{Saturation: m.saturation * filled, Permeability: 1 + (turns-1)*m.less*logBetween(0.8, 1.25), Reversible: w.Steel.Reversible}
	}
	return w
}

// String is a string of the world's steel. Wraps that the world does not know are not
// magnetic.
func (w *World) String(gauge, core float64, wrap string) *String {
	return &String{Gauge: gauge, Core: core, Steel: w.Steel, Wrap: w.Wraps[wrap]}
}
