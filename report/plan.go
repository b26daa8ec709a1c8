package report

import (
	"fmt"
	"io"
	"strconv"

	"evenpole/capture/record/table"
	"evenpole/fit/level"
	"evenpole/fit/plan"
	"evenpole/profiles"
)

// planColumns are the columns of a plan as CSV.
var planColumns = []string{
	"order", "stagger", "string_set", "string", "note", "gauge_mm", "core_mm", "wrap", "pole_height_mm", "gap_mm",
	"level_mv", "balance_db", "deviation_db", "db_per_01mm", "worst_db", "spread_db", "spread_db_2_5", "spread_db_97_5", "meets",
	"length_mm", "may_be_lower_mm", "may_be_higher_mm", "magnet", "poles", "coil_1_height_mm", "coil_2_height_mm",
}

// WritePlanCSV writes every stagger of a plan under every string set, a row a
// string. Lengths, tolerances and magnets stand in the plan's own rows only.
func WritePlanCSV(w io.Writer, o *profiles.Order, p *plan.Plan) error {
	rows := [][]string{planColumns}
	for k, s := range p.Staggers() {
		set := stringSet(o, s.Strings)
		for i, str := range set.Strings {
			pole := make([]string, 7)
			if k == 0 { // the plan under the order's own strings
				pole = append(poleCells(p.Poles[i]), coilCells(p.Coils, i)...)
			}
			rows = append(rows, append([]string{
				p.Order, s.Name, set.Name, strconv.Itoa(i + 1), str.Note, number(str.Gauge), number(str.Core), string(str.Wrap),
				number(s.Heights[i]), number(s.Gaps[i]), levelCell(s.Level[i]), number(s.Balance[i]), number(s.Deviation[i]), number(s.Slope[i]),
				number(s.Worst), number(s.Spread), number(s.Spread95[0]), number(s.Spread95[1]), number(s.Meets),
			}, pole...))
		}
	}
	return table.WriteLines(w, true, rows...)
}

// coilCells are the heights of both coils' poles.
func coilCells(c *plan.Coils, i int) []string {
	if c == nil {
		return []string{"", ""}
	}
	return []string{number(c.Rows[0].Heights[i]), number(c.Rows[1].Heights[i])}
}

// poleCells are the cells of a row that say what to make.
func poleCells(q plan.Pole) []string {
	length := ""
	if q.Length != 0 {
		length = number(q.Length)
	}
	return []string{length, number(q.Lower), number(q.Higher), q.Magnet, q.PoleNumbers()}
}

// stringSet is the order's own strings, or the alternative of that name.
func stringSet(o *profiles.Order, name string) profiles.StringSet {
	for _, a := range o.Alternatives {
		if a.Name == name {
			return a
		}
	}
	return profiles.StringSet{Name: o.Set, Strings: o.Strings}
}

// number writes a figure for a spreadsheet, to four decimals.
func number(x float64) string { return profiles.Shortest(x, 4) }

// levelCell writes a level; one that is not known is an empty cell.
func levelCell(f level.Figure) string {
	if !f.Known() {
		return ""
	}
	return number(float64(f))
}

// PlanPoles is the picture of planned pole heights over flat tops, for Poles.
func PlanPoles(o *profiles.Order, p *plan.Plan) PolePicture {
	picture := PolePicture{Title: "Planned poles of order " + o.ID, Spacing: spacing(o), Units: o.Units, Cautions: plan.CautionsOf(o)}
	for i, s := range o.Strings {
		picture.Poles = append(picture.Poles, Pole{i + 1, s.Note, p.Heights[i], p.Heights[i] + p.Gaps[i], s.Gauge})
	}
	picture.arrange(o)
	if c := p.Coils; c != nil {
		other := 1
		if !c.Rows[0].Set {
			other = 0
		}
		picture.Second = c.Rows[other].Heights
		picture.SecondIs = fmt.Sprintf("narrow: coil %d, %s", other+1, c.Rows[other].Poles)
	}
	if p.Flat != nil {
		picture.Outline = p.Flat.Heights
		picture.Beside = profiles.Sprintf("flat tops at %.2f mm", p.Flat.Height)
	}
	return picture
}
