package workshop

import (
	"fmt"
	"maps"
	"slices"

	"evenpole/jig/sim"
)

// Faults are what is otherwise on a simulated jig than its mount says, so that it can be
// practised to find them. Numbers are those of strings, or of positions of loose magnets,
// from 1.
type Faults struct {
	Weak     map[int]float64 // a magnet that has so many percent of its field less
	Reversed []int           // magnets with the other side up
	Swapped  []int           // two magnets, each in the other's place
	Poles    map[int]float64 // mm by which a pole stands higher than the mount says, below 0 lower
}

// Apply makes the faults. Errors: a fault of what is not there, or a pole that would
// touch its string.
func (f *Faults) Apply(m *sim.Mounted) error {
	poles := m.Poles
	if len(poles) == 0 {
		poles = m.Loose
	}
	if err := f.check(len(poles), len(m.Poles) > 0); err != nil {
		return err
	}
	if len(f.Swapped) == 2 {
		a, b := &poles[f.Swapped[0]-1], &poles[f.Swapped[1]-1]
		a.Remanence, b.Remanence = b.Remanence, a.Remanence
	}
	for i, percent := range f.Weak {
		poles[i-1].Remanence *= 1 - percent/100
	}
	for _, i := range f.Reversed {
		poles[i-1].Remanence *= -1
	}
	for i, mm := range f.Poles {
		if poles[i-1].Height += mm; poles[i-1].Height >= m.StringHeights[i-1] {
			return fmt.Errorf("pole: expected pole %d below its string at %g mm, got %g mm", i, m.StringHeights[i-1], poles[i-1].Height)
		}
	}
	return nil
}

// check refuses faults of what is not there; n is how many magnets there are.
func (f *Faults) check(n int, pickup bool) error {
	for flag, numbers := range map[string][]int{
		"weak": slices.Sorted(maps.Keys(f.Weak)), "reversed": f.Reversed, "swapped": f.Swapped, "pole": slices.Sorted(maps.Keys(f.Poles)),
	} {
		for _, i := range numbers {
			if i < 1 || i > n {
				return fmt.Errorf("%s: expected one of the %d magnets that are mounted, got %d", flag, n, i)
			}
		}
	}
	for _, percent := range f.Weak {
		if !(percent > 0 && percent < 100) {
			return fmt.Errorf("weak: expected more than 0 and less than 100 percent, got %g", percent)
		}
	}
	switch k := len(f.Swapped); {
	case k != 0 && k != 2 || k == 2 && f.Swapped[0] == f.Swapped[1]:
		return fmt.Errorf("swapped: expected two magnets, got %v", f.Swapped)
	case len(f.Poles) > 0 && !pickup:
		return fmt.Errorf("pole: expected a pickup, whose poles have heights, got loose magnets")
	}
	return nil
}
