package main

import (
	"math"
	"slices"

	"evenpole/fit/verdict"
)

// fault is one that is made in a pickup.
type fault struct {
	name   string
	kind   string // of the cause that names it; "" for none
	probed bool   // the field over the poles is measured
	make   func(p *pickup) (strings []int, ok bool)
}

// is reports whether a cause names the fault.
func (f *fault) is(c *verdict.Cause, strings []int) bool {
	return c.Kind == f.kind && slices.Equal(c.Strings, strings)
}

var faults = []fault{
	{"none", "", false, sound},
	{"none, field measured", "", true, sound},
	{"one pole 0.5 mm low", verdict.WideGap, false, low},
	{"one pole 0.5 mm low, field measured", verdict.WideGap, true, low},
	{"one pole 0.5 mm high", verdict.NarrowGap, false, high},
	{"a magnet 40 % weak", verdict.WeakMagnet, false, weak},
	{"a magnet 40 % weak, field measured", verdict.WeakMagnet, true, weak},
	{"a magnet reversed, field measured", verdict.Reversed, true, reversed},
	{"two poles swapped (0.8 mm apart or more)", verdict.SwappedPoles, false, swappedPoles},
	{"two strings swapped (neighbours, wound)", verdict.SwappedStrings, false, swappedStrings},
	{"a string of another set (2 dB or more)", verdict.WrongString, false, wrongString},
	{"mounting tilted by 1 mm", verdict.Tilted, false, tilted},
	{"a dead string", verdict.Dead, false, dead},
}

func sound(*pickup) ([]int, bool) { return []int{}, true }

func low(p *pickup) ([]int, bool) {
	i := p.IntN(6)
	p.poles[i].Height -= 0.5
	return []int{i + 1}, true
}

func high(p *pickup) ([]int, bool) {
	i := p.IntN(6)
	p.poles[i].Height += 0.5
	return []int{i + 1}, true
}

func weak(p *pickup) ([]int, bool) {
	i := p.IntN(6)
	p.poles[i].Remanence *= 0.6
	return []int{i + 1}, true
}

func reversed(p *pickup) ([]int, bool) {
	i := p.IntN(6)
	p.poles[i].Remanence *= -1
	return []int{i + 1}, true
}

func dead(p *pickup) ([]int, bool) {
	i := p.IntN(6)
	p.poles[i].Remanence *= 0.001
	p.strings[i].Wrap = "bronze"
	p.strings[i].Core = 0.02
	return []int{i + 1}, true
}

// swappedPoles exchanges two that differ by enough to matter.
func swappedPoles(p *pickup) ([]int, bool) {
	for range 50 {
		i, j := p.IntN(6), p.IntN(6)
		if i < j && math.Abs(p.poles[i].Height-p.poles[j].Height) >= 0.8 {
			p.poles[i], p.poles[j] = p.poles[j], p.poles[i]
			return []int{i + 1, j + 1}, true
		}
	}
	return nil, false
}

func swappedStrings(p *pickup) ([]int, bool) {
	i := 3 + p.IntN(2)
	p.strings[i], p.strings[i+1] = p.strings[i+1], p.strings[i]
	return []int{i + 1, i + 2}, true
}

// wrongString puts one from another set that is a good deal thicker or thinner.
func wrongString(p *pickup) ([]int, bool) {
	i := p.IntN(6)
	for range 50 {
		other := p.sets[p.IntN(len(p.sets))].Strings[i]
		if math.Abs(2*math.Log(other.Core/p.strings[i].Core)) > 0.23 && other.Plain() == p.strings[i].Plain() {
			p.strings[i] = other
			return []int{i + 1}, true
		}
	}
	return nil, false
}

func tilted(p *pickup) ([]int, bool) {
	turn := 0.2
	if p.IntN(2) == 0 {
		turn = -turn
	}
	for i := range p.lifted {
		p.lifted[i] += turn * (float64(i) - 2.5)
	}
	return []int{}, true
}
