package cell

import (
	"cmp"
	"math"
	"strconv"

	"evenpole/capture/record"
	"evenpole/profiles"
)

// mounting is what the cells of one string set over one pickup on one jig in one session have in
// common, however their takes were made.
type mounting struct {
	pickup, session, set, jig string
	under                     profiles.Under
	scale                     string // of levels; "" for mV
	byHand                    bool
}

// UnderOf is what a row has under its strings.
func UnderOf(r *record.Reading) profiles.Under {
	if !r.TwoCoils() {
		return r.Under
	}
	return r.Under.TwoCoils()
}

// Height is the height of the pole under a row's string, mm; with two coils that of one
// row of poles in place of both.
func Height(r *record.Reading) float64 {
	if !r.TwoCoils() {
		return r.PoleHeight
	}
	gain, err := strconv.ParseFloat(r.Gain2, 64)
	if err != nil || math.IsNaN(r.PoleHeight2) {
		return math.NaN()
	}
	return Equivalent(r.PoleHeight, r.PoleHeight2, gain)
}

// how is how takes were made.
type how struct {
	mode   record.Mode
	excite profiles.Excitation
}

// howOf is that of the take of a row.
func howOf(r *record.Reading) how {
	h := how{cmp.Or(r.Mode, record.Pluck), r.Excite}
	if h.mode == record.Drive {
		h.excite = profiles.Drive
	}
	return h
}

// GaugeAndWrap fills in what a row may leave out: a string of unnamed wrap
// is plain when its gauge is absent or equal to its core. A wrap that the handbook
// knows is called by its one name, however the row spells it.
func GaugeAndWrap(r *record.Reading) (gauge float64, wrap profiles.Wrap) {
	known := r.Gauge > 0
	named, _ := profiles.ParseWrap(string(r.Wrap))
	switch {
	case r.Wrap == "" && (!known || r.Gauge == r.Core):
		return r.Core, profiles.Plain
	case r.Wrap == "":
		return r.Gauge, Unnamed
	case known:
		return r.Gauge, named
	case named == profiles.Plain:
		return r.Core, profiles.Plain
	}
	return 0, named
}

// key is what tells places apart: a string over a pole in one session. It holds no
// pointers, as a record has many.
type key struct {
	mounting, wrap, string                int32 // mounting and wrap: in a store's lists
	core, gauge, poleHeight, stringHeight float64
}

// fault says why there can be no cell there; "" when there can.
func (k *key) fault() string {
	return fault(int(k.string), k.core, k.gauge, k.poleHeight, k.stringHeight)
}

// told is what a row tells of its place.
type told struct {
	pickup, session, set, scale, jig      string
	wrap                                  profiles.Wrap
	under                                 profiles.Under
	string                                int
	core, gauge, poleHeight, stringHeight uint64 // bits, as NaN is told, too
	second                                uint64
	gain                                  string
}

// by reports whether a row tells the same.
func (t *told) by(r *record.Reading) bool {
	return t.string == r.String && t.under == r.Under && t.second == math.Float64bits(r.PoleHeight2) && t.gain == r.Gain2 && t.core == math.Float64bits(r.Core) && t.gauge == math.Float64bits(r.Gauge) &&
		t.poleHeight == math.Float64bits(r.PoleHeight) && t.stringHeight == math.Float64bits(r.StringHeight) &&
		t.session == r.Session && t.pickup == r.Pickup && t.set == r.StringSet && t.wrap == r.Wrap &&
		t.scale == r.Scale && t.jig == r.Jig
}

func toldBy(r *record.Reading) told {
	return told{r.Pickup, r.Session, r.StringSet, r.Scale, r.Jig, r.Wrap, r.Under, r.String,
		math.Float64bits(r.Core), math.Float64bits(r.Gauge), math.Float64bits(r.PoleHeight), math.Float64bits(r.StringHeight),
		math.Float64bits(r.PoleHeight2), r.Gain2}
}
