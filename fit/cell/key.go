package cell

import (
	"cmp"
	"math"

	"evenpole/capture/record"
	"evenpole/profiles"
)

// mounting is what the cells of one string set over one pickup in one session have in
// common.
type mounting struct {
	pickup, session, set string
	wrap                 profiles.Wrap
	mode                 record.Mode
	excite               profiles.Excitation
}

// mountingOf is that of a row; a pickup without a name has the one given.
func mountingOf(r *record.Reading, unnamed string) mounting {
	m := mounting{pickup: r.Pickup, session: r.Session, set: r.StringSet, mode: cmp.Or(r.Mode, record.Pluck), excite: r.Excite}
	if m.pickup == "" {
		m.pickup = unnamed
	}
	if m.mode == record.Drive {
		m.excite = profiles.Drive
	}
	_, m.wrap = gaugeAndWrap(r)
	return m
}

// anyExcitation is the mounting without the excitation: rows that are no takes do
// not say.
func (m mounting) anyExcitation() mounting {
	m.mode, m.excite = "", ""
	return m
}

// gaugeAndWrap fills in what a row may leave out: a string of unnamed wrap
// is plain when its gauge is absent or equal to its core. A wrap that the handbook
// knows is called by its one name, however the row spells it.
func gaugeAndWrap(r *record.Reading) (gauge float64, wrap profiles.Wrap) {
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

// key is what tells cells apart. It holds no pointers, as a record has many.
type key struct {
	mounting, string                      int32 // mounting: in a workshop's list
	core, gauge, poleHeight, stringHeight float64
}

// keyOf is that of a row of a mounting.
func keyOf(r *record.Reading, mounting int32) key {
	k := key{mounting: mounting, string: int32(r.String), core: r.Core, poleHeight: r.PoleHeight, stringHeight: r.StringHeight}
	k.gauge, _ = gaugeAndWrap(r)
	return k
}

// fault says why there can be no such cell; "" when there can.
func (k *key) fault() string {
	return fault(int(k.string), k.core, k.gauge, k.poleHeight, k.stringHeight)
}

// told is what a row tells of its cell.
type told struct {
	pickup, session, set                  string
	wrap                                  profiles.Wrap
	mode                                  record.Mode
	excite                                profiles.Excitation
	string                                int
	core, gauge, poleHeight, stringHeight uint64 // bits, as NaN is told, too
}

// by reports whether a row tells the same.
func (t *told) by(r *record.Reading) bool {
	return t.string == r.String && t.core == math.Float64bits(r.Core) && t.gauge == math.Float64bits(r.Gauge) &&
		t.poleHeight == math.Float64bits(r.PoleHeight) && t.stringHeight == math.Float64bits(r.StringHeight) &&
		t.session == r.Session && t.pickup == r.Pickup && t.set == r.StringSet && t.wrap == r.Wrap && t.mode == r.Mode && t.excite == r.Excite
}

func toldBy(r *record.Reading) told {
	return told{r.Pickup, r.Session, r.StringSet, r.Wrap, r.Mode, r.Excite, r.String,
		math.Float64bits(r.Core), math.Float64bits(r.Gauge), math.Float64bits(r.PoleHeight), math.Float64bits(r.StringHeight)}
}
