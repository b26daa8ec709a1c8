package workshop

import (
	"reflect"
	"strings"
	"testing"

	"evenpole/jig/sim"
)

func twoPoles() *sim.Mounted {
	return &sim.Mounted{Poles: []sim.Pole{{Height: 1, Remanence: 0.3}, {Height: 0.5, Remanence: 0.2}}, StringHeights: []float64{3, 3}}
}

func TestFaults(t *testing.T) {
	for name, c := range map[string]struct {
		faults Faults
		want   []sim.Pole
	}{
		"weak":     {Faults{Weak: map[int]float64{1: 50}}, []sim.Pole{{Height: 1, Remanence: 0.15}, {Height: 0.5, Remanence: 0.2}}},
		"reversed": {Faults{Reversed: []int{2}}, []sim.Pole{{Height: 1, Remanence: 0.3}, {Height: 0.5, Remanence: -0.2}}},
		"swapped":  {Faults{Swapped: []int{2, 1}}, []sim.Pole{{Height: 1, Remanence: 0.2}, {Height: 0.5, Remanence: 0.3}}},
		"pole":     {Faults{Poles: map[int]float64{2: -0.25}}, []sim.Pole{{Height: 1, Remanence: 0.3}, {Height: 0.25, Remanence: 0.2}}},
	} {
		m := twoPoles()
		if err := c.faults.Apply(m); err != nil || !reflect.DeepEqual(m.Poles, c.want) {
			t.Errorf("%s: %v, %v", name, m.Poles, err)
		}
	}
	loose := &sim.Mounted{Loose: []sim.Pole{{Remanence: 0.3}}}
	if err := (&Faults{Reversed: []int{1}}).Apply(loose); err != nil || loose.Loose[0].Remanence != -0.3 {
		t.Errorf("a loose magnet: %v, %v", loose.Loose, err)
	}
}

func TestFaultsAreRefused(t *testing.T) {
	for want, f := range map[string]Faults{
		"weak: expected one of the 2 magnets":       {Weak: map[int]float64{3: 10}},
		"weak: expected more than 0":                {Weak: map[int]float64{1: 100}},
		"reversed: expected one of the 2 magnets":   {Reversed: []int{0}},
		"swapped: expected two magnets":             {Swapped: []int{1}},
		"pole: expected pole 1 below its string at": {Poles: map[int]float64{1: 2}},
	} {
		m := twoPoles()
		if err := f.Apply(m); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%s: got %v", want, err)
		}
	}
	if err := (&Faults{Poles: map[int]float64{1: 1}}).Apply(&sim.Mounted{Loose: []sim.Pole{{}}}); err == nil {
		t.Error("loose magnets have no heights")
	}
}
