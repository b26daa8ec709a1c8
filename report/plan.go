package report

import (
	"fmt"
	"io"
	"math"
	"strconv"

	"evenpole/fit/plan"
	"evenpole/profiles"

	"github.com/gocarina/gocsv"
)

// planRow is one string of one stagger under one string set.
type planRow struct {
	Order       string `csv:"order"`
	Stagger     string `csv:"stagger"`
	Strings     string `csv:"string_set"`
	String      int    `csv:"string"`
	Note        string `csv:"note"`
	Gauge       string `csv:"gauge_mm"`
	Core        string `csv:"core_mm"`
	Wrap        string `csv:"wrap"`
	Height      string `csv:"pole_height_mm"`
	Gap         string `csv:"gap_mm"`
	Level       string `csv:"level_mv"`
	Balance     string `csv:"balance_db"`
	Deviation   string `csv:"deviation_db"`
	Slope       string `csv:"db_per_01mm"`
	Worst       string `csv:"worst_db"`
	Spread      string `csv:"spread_db"`
	SpreadLow   string `csv:"spread_db_2_5"`
	SpreadHigh  string `csv:"spread_db_97_5"`
	Meets       string `csv:"meets"`
	Length      string `csv:"length_mm"`
	MayBeLower  string `csv:"may_be_lower_mm"`
	MayBeHigher string `csv:"may_be_higher_mm"`
	Magnet      string `csv:"magnet"`
}

// WritePlanCSV writes every stagger of a plan under every string set, a row a
// string. Lengths, tolerances and magnets stand in the plan's own rows only.
func WritePlanCSV(w io.Writer, o *profiles.Order, p *plan.Plan) error {
	var rows []planRow
	for k, s := range p.Staggers() {
		set := stringSet(o, s.Strings)
		for i, str := range set.Strings {
			row := planRow{
				Order: p.Order, Stagger: s.Name, Strings: set.Name, String: i + 1, Note: str.Note,
				Gauge: number(str.Gauge), Core: number(str.Core), Wrap: string(str.Wrap),
				Height: number(s.Heights[i]), Gap: number(s.Gaps[i]), Level: number(s.Level[i]),
				Balance: number(s.Balance[i]), Deviation: number(s.Deviation[i]), Slope: number(s.Slope[i]),
				Worst: number(s.Worst), Spread: number(s.Spread),
				SpreadLow: number(s.Spread95[0]), SpreadHigh: number(s.Spread95[1]), Meets: number(s.Meets),
			}
			if k == 0 { // the plan under the order's own strings
				row.pole(p.Poles[i])
			}
			rows = append(rows, row)
		}
	}
	return gocsv.Marshal(rows, w)
}

func (r *planRow) pole(q plan.Pole) {
	if q.Length != 0 {
		r.Length = number(q.Length)
	}
	r.MayBeLower, r.MayBeHigher, r.Magnet = number(q.Lower), number(q.Higher), q.Magnet
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
func number(x float64) string {
	return strconv.FormatFloat(math.Round(x*1e4)/1e4+0, 'f', -1, 64)
}

// PlanPoles is the picture of planned pole heights over flat tops, for Poles.
func PlanPoles(o *profiles.Order, p *plan.Plan) PolePicture {
	picture := PolePicture{Title: "Planned poles of order " + o.ID, Spacing: spacing(o)}
	for i, s := range o.Strings {
		picture.Poles = append(picture.Poles, Pole{i + 1, s.Note, p.Heights[i], p.Heights[i] + p.Gaps[i], s.Gauge})
	}
	if p.Flat != nil {
		picture.Outline = p.Flat.Heights
		picture.Beside = fmt.Sprintf("flat tops at %.2f mm", p.Flat.Height)
	}
	return picture
}
