package main

import (
	"context"
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/field"
	"evenpole/fit/verdict"
	"evenpole/jig"
	"evenpole/jig/sim"
	"evenpole/profiles"
	"evenpole/shop"
)

// Scatter of an ordinary shop: our assumptions. Lengths in mm, the rest of the
// logarithm.
const (
	pluck    = 0.03
	magnet   = 0.04 // of remanence, from magnet to magnet
	coil     = 0.12
	slot     = 0.015
	core     = 0.006
	together = 0.05  // string heights of a mounting
	caliper  = 0.025 // one height
	takes    = 8
	probeGap = 0.5  // mm
	spacing  = 10.4 // mm between poles
)

// workshop is a simulated shop with its model.
type workshop struct {
	*rand.Rand
	seed  uint64
	bend  bend
	slots []float64
	sets  []profiles.StringSet // as they came out of the packet, in the order of library
	model fit.Model
	rows  []record.Reading
	now   time.Time
}

// bend is by how much the shop's levels, ln v, differ from the simulated jig's.
type bend struct{ area, fall, protrude, velocity float64 }

func (b *bend) at(s profiles.String, gap, height, hz float64) float64 {
	return b.area*2*math.Log(s.Core/0.35) - b.fall*(gap-3.5) + b.protrude*height + b.velocity*math.Log(hz/200)
}

// pickup is one on the jig: what is written of it, and what it is.
type pickup struct {
	*workshop
	name    string
	set     profiles.StringSet // as written
	heights []float64          // of the poles, as written
	above   []float64          // string heights, as written
	poles   []sim.Pole
	strings []profiles.String
	lifted  []float64 // string heights
	coil    float64
}

var library = sets()

// sets are the built-in sets of six strings.
func sets() []profiles.StringSet {
	return slices.DeleteFunc(profiles.Builtin().Sets(), func(s profiles.StringSet) bool { return len(s.Strings) != 6 })
}

// newShop captures four test pickups under two string sets, one of them with
// the strings higher too, and fits the falloff model.
func newShop(seed uint64) (*workshop, error) {
	r := rand.New(rand.NewPCG(seed, 0x6661756c7473))
	n := r.NormFloat64
	s := &workshop{Rand: r, seed: seed, now: time.Date(2025, 3, 3, 8, 0, 0, 0, time.UTC)}
	s.bend = bend{area: -0.05 + 0.03*n(), fall: 0.1 + 0.05*n(), protrude: 0.03 + 0.02*n(), velocity: -0.05 + 0.05*n()}
	for range 6 {
		s.slots = append(s.slots, slot*n())
	}
	for _, set := range library {
		set.Strings = slices.Clone(set.Strings)
		for i, x := range set.Strings {
			set.Strings[i] = s.actual(x)
		}
		s.sets = append(s.sets, set)
	}
	for k := range 4 {
		p := s.build()
		for m, lift := range []float64{0, 0, 0.8} {
			session := fmt.Sprintf("t%d-%d", k, m)
			p.string((k+m)%2, lift)
			s.capture(p, session, record.ForModel)
		}
	}
	d, err := shop.Cells(context.Background(), shop.Source{Readings: s.readings(s.rows)})
	if err != nil {
		return nil, err
	}
	s.rows = nil
	s.model, err = fit.OfKind(context.Background(), d, "falloff")
	return s, err
}

// actual is a string as it came out of the packet.
func (s *workshop) actual(x profiles.String) profiles.String {
	f := math.Exp(core * s.NormFloat64())
	if x.Plain() {
		x.Gauge *= f
		x.Core = x.Gauge
		return x
	}
	x.Core = math.Min(x.Core*f, x.Gauge)
	return x
}

// build makes a pickup with poles at random heights, under the first set.
func (s *workshop) build() *pickup {
	p := &pickup{workshop: s, name: fmt.Sprintf("P-%d", s.Uint32()), coil: coil * s.NormFloat64()}
	for range 6 {
		h := 0.2 + 1.7*s.Float64()
		p.poles = append(p.poles, sim.Pole{Height: h, Radius: 2.38, Length: 16, Remanence: 0.55 * math.Exp(magnet*s.NormFloat64())})
		p.heights = append(p.heights, hundredth(h+caliper*s.NormFloat64()))
	}
	p.string(0, 0)
	return p
}

// string puts a set over the pickup, so much higher than usual.
func (p *pickup) string(set int, lift float64) {
	p.set = library[set]
	p.strings = slices.Clone(p.sets[set].Strings)
	p.above, p.lifted = nil, nil
	off := together * p.NormFloat64()
	for _, h := range profiles.ArcHeights(184, 52, 6, 3.0, 3.4) {
		p.above = append(p.above, hundredth(h+lift))
		p.lifted = append(p.lifted, h+lift+off+caliper*p.NormFloat64())
	}
}

func hundredth(v float64) float64 { return math.Round(v*100) / 100 }

// levels is ln v of each string, as it stands there.
func (p *pickup) levels() []float64 {
	j := sim.New(sim.Config{Excite: jig.Travel, Scatter: &sim.Scatter{}})
	m := sim.Mounted{Poles: p.poles, StringHeights: p.lifted, PickupFromBridge: 100}
	for i, x := range p.strings {
		m.Strings = append(m.Strings, sim.String{Gauge: x.Gauge, Core: x.Core, Wrap: string(x.Wrap), Freq: p.pitch(i)})
	}
	j.Mount(m)
	v := j.TrueLevels()
	for i, x := range p.strings {
		gap := p.lifted[i] + x.Gauge/2 - p.poles[i].Height
		v[i] = math.Log(v[i]) + p.bend.at(x, gap, p.poles[i].Height, p.pitch(i)) + p.coil + p.slots[i]
	}
	return v
}

// pitch is that of a place: whatever string is there is tuned to it.
func (p *pickup) pitch(i int) float64 {
	hz, err := profiles.Pitch(p.set.Strings[i].Note)
	if err != nil {
		panic(err) // built-in sets have notes
	}
	return hz
}

// capture files the takes of a pickup.
func (s *workshop) capture(p *pickup, session string, purpose record.Purpose) {
	const quiet = 0.4
	for i, level := range p.levels() {
		listed := p.set.Strings[i]
		for t := range takes {
			s.now = s.now.Add(4 * time.Second)
			v := math.Exp(level + pluck*s.NormFloat64())
			s.rows = append(s.rows, record.Reading{
				Time: s.now, Session: session, Purpose: purpose, Jig: "jig-1", Boot: "0000000A", Seq: uint32(len(s.rows) + 1), HasSeq: true,
				Pickup: p.name, Batch: "M-1", String: i + 1, StringSet: p.set.Name, Core: listed.Core, Gauge: listed.Gauge, Wrap: listed.Wrap,
				PoleHeight: p.heights[i], StringHeight: p.above[i], Mode: "P", Take: t + 1, RMS: math.Hypot(v, quiet), Quiet: quiet,
				Freq: p.pitch(i), Excite: "travel", Status: record.OK,
			})
		}
	}
}

func (s *workshop) readings(rows []record.Reading) iter.Seq2[record.Reading, error] {
	return func(yield func(record.Reading, error) bool) {
		for _, r := range rows {
			if !yield(r, nil) {
				return
			}
		}
	}
}

// fields are readings of the field over each pole.
func (p *pickup) fields() iter.Seq2[record.FieldReading, error] {
	var row field.Row
	for i, q := range p.poles {
		row = append(row, field.Pole{Rod: field.Rod{Radius: q.Radius, Length: q.Length, Remanence: q.Remanence}, X: spacing * float64(i), Top: q.Height})
	}
	return func(yield func(record.FieldReading, error) bool) {
		for i, q := range row {
			_, _, b := row.At(q.X, 0, q.Top+probeGap)
			r := record.FieldReading{Session: "f", Jig: "jig-1", Boot: "0000000A", Seq: uint32(i + 1), HasSeq: true, Batch: "M-1", Pickup: p.name,
				String: i + 1, Position: i + 1, Take: 1, Field: 1000 * b * math.Exp(0.003*p.NormFloat64()), ProbeGap: probeGap, Status: record.OK}
			if !yield(r, nil) {
				return
			}
		}
	}
}

// check captures a pickup and has it checked.
func (s *workshop) check(p *pickup, withField bool) (*verdict.Diagnosis, error) {
	s.rows = nil
	s.capture(p, "c", record.ForCheck)
	o := &profiles.Order{ID: "F", Batch: "M-1", Poles: profiles.Rod, PoleHeightMax: 3, StringSpread: 52, StringHeightFirst: p.above[0], StringHeightLast: p.above[5],
		FretboardRadius: 184, Tolerance: 2, Strings: p.set.Strings}
	b := &verdict.Bench{Model: s.model, Sets: library}
	if withField {
		b.Fields = p.fields()
	}
	v, err := verdict.Check(s.readings(s.rows), o, p.name, verdict.Options{Bench: b})
	if err != nil {
		return nil, err
	}
	return v.Diagnosis, nil
}
