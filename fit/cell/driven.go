package cell

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"evenpole/profiles"
)

// An exciter moves every string as it does, whatever it weighs and however high it is
// tuned: driven levels lack what a pluck gives one string more than another. By how much
// that is, string by string, a pickup tells that was captured both ways. JoinDriven then
// lets all driven cells of these strings count as plucked ones, so that both feed one
// model, and says so in Remarks. Driven cells of strings of which it is not known, or of a
// record without plucks, stay what they are.
func (d *Data) JoinDriven() {
	plucked := d.plucked()
	if plucked == "" {
		return
	}
	offsets := d.drivenOffsets(plucked)
	var joined, left int
	lacks := map[string]bool{}
	remount := Remounting(func(m, _ *Mounting) { m.Excite = plucked })
	for i := range d.Cells {
		c := &d.Cells[i]
		if c.Excite != profiles.Drive {
			continue
		}
		off, known := offsets[drivenString{c.Set, c.String}]
		if !known {
			left++
			lacks[c.Set] = true
			continue
		}
		joined++
		c.shift(off.mean)
		remount(c, c)
	}
	if joined > 0 {
		d.Remarks = append(d.Remarks, joinedRemark(joined, offsets))
	}
	if left > 0 {
		d.Remarks = append(d.Remarks, fmt.Sprintf("%s left out, of strings under which no pickup was captured both by plucks and by the exciter: capture one pickup under %s both ways", profiles.Count(left, "driven cell"), setList(lacks)))
	}
}

// plucked is how strings were plucked where some were driven, too; "" where either is
// missing, or plucks were made in more than one way.
func (d *Data) plucked() profiles.Excitation {
	var kinds []profiles.Excitation
	for i := range d.Cells {
		if e := d.Cells[i].Excite; !slices.Contains(kinds, e) {
			kinds = append(kinds, e)
		}
	}
	i := slices.Index(kinds, profiles.Drive)
	if i < 0 || len(kinds) != 2 {
		return ""
	}
	return kinds[1-i]
}

// drivenString is a string on which an exciter and plucks are compared.
type drivenString struct {
	set    string
	number int
}

// drivenOffset is by how much a string is louder when it is plucked, ln v.
type drivenOffset struct {
	mean    float64
	pickups int
}

// drivenOffsets compares cells of one pickup and string at one pole height, plucked and
// driven. Where the string lay otherwise, the usual fall makes up for it.
func (d *Data) drivenOffsets(plucked profiles.Excitation) map[drivenString]drivenOffset {
	const same = 0.5 // mm, a string's height in two mountings
	type place struct {
		pickup, scale string
		of            drivenString
		height        float64
	}
	type sums struct{ plucked, driven, atPlucked, atDriven, n, k float64 }
	at := map[place]*sums{}
	for i := range d.Cells {
		c := &d.Cells[i]
		p := place{c.Pickup, c.Scale, drivenString{c.Set, c.String}, c.PoleHeight}
		if at[p] == nil {
			at[p] = &sums{}
		}
		if s := at[p]; c.Excite == plucked {
			s.plucked, s.atPlucked, s.n = s.plucked+c.Mean, s.atPlucked+c.StringHeight, s.n+1
		} else {
			s.driven, s.atDriven, s.k = s.driven+c.Mean, s.atDriven+c.StringHeight, s.k+1
		}
	}
	out := map[drivenString]drivenOffset{}
	inOrder := slices.SortedFunc(maps.Keys(at), func(a, b place) int {
		return cmp.Or(strings.Compare(a.pickup, b.pickup), strings.Compare(a.of.set, b.of.set), cmp.Compare(a.of.number, b.of.number), cmp.Compare(a.height, b.height), strings.Compare(a.scale, b.scale))
	})
	for _, p := range inOrder { // sums do not depend on the order of a map
		s := at[p]
		if s.n == 0 || s.k == 0 {
			continue
		}
		higher := s.atPlucked/s.n - s.atDriven/s.k
		if math.Abs(higher) > same {
			continue
		}
		o := out[p.of]
		o.mean = (o.mean*float64(o.pickups) + s.plucked/s.n - s.driven/s.k + usualFall*higher) / float64(o.pickups+1)
		o.pickups++
		out[p.of] = o
	}
	return out
}

// joinedRemark says what was done, and on what it stands.
func joinedRemark(joined int, offsets map[drivenString]drivenOffset) string {
	const dB = 20 / math.Ln10
	least, most, pickups := math.Inf(1), math.Inf(-1), math.MaxInt
	for _, o := range offsets {
		least, most, pickups = min(least, o.mean), max(most, o.mean), min(pickups, o.pickups)
	}
	few := ""
	if pickups == 1 {
		few = "; of some strings a single one tells: capture another both ways to know it better"
	}
	return profiles.Sprintf("%s counted as plucked: a pluck is louder by %+.1f to %+.1f dB, string by string, as pickups tell that were captured both ways (%d at least)%s", profiles.Count(joined, "driven cell"), dB*least, dB*most, pickups, few)
}

// setList names string sets.
func setList(sets map[string]bool) string {
	var names []string
	for name := range sets {
		if name == "" {
			name = "their strings"
		}
		names = append(names, name)
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}
