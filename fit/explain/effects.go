package explain

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/level"
)

// effects lists every effect's levels with their intervals.
func effects(p *fit.Posterior) []EffectGroup {
	var out []EffectGroup
	for k, e := range curve.Effects {
		if p.Levels(k) == 0 {
			continue
		}
		sds := p.SDs(k)
		g := EffectGroup{Name: e.Name, Unit: "dB", Levels: make([]EffectLevel, len(sds))}
		scale := level.PerLn
		if k == curve.MountingEffect {
			g.Unit, scale = "mm", 1
		}
		g.SD = scale * math.Abs(p.Model.SDs[k+1])
		for i := range p.Cells {
			l := p.LevelOf(k, i)
			if l < 0 || g.Levels[l].Name != "" { // its other cells say the same
				continue
			}
			g.Levels[l] = EffectLevel{levelName(k, &p.Cells[i]), scale * p.Value(k, i), scale * normal95 * sds[l]}
		}
		out = append(out, g)
	}
	return out
}

// levelName is what people call a level of an effect.
func levelName(k int, c *cell.Cell) string {
	switch k {
	case curve.StringEffect:
		return strings.TrimPrefix(fmt.Sprintf("%s, string %d", c.Set, c.String), ", ")
	case curve.SlotEffect:
		return fmt.Sprintf("slot %d", c.String)
	case curve.JigEffect:
		return cmp.Or(c.Jig, "not named")
	}
	return cmp.Or(curve.Effects[k].Level(c).String(), "not named")
}
