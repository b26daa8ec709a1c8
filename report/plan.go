package report

import (
	"fmt"
	"math"

	"evenpole/fit/plan"
	"evenpole/profiles"
)

// PlanPoles is the picture of planned pole heights over flat tops, for Poles.
func PlanPoles(o *profiles.Order, p *plan.Plan) PolePicture {
	picture := PolePicture{Title: "Planned poles of order " + o.ID, Spacing: spacing(o)}
	for i, height := range o.StringHeights() {
		s := o.Strings[i]
		picture.Poles = append(picture.Poles, Pole{i + 1, s.Note, p.Heights[i], height, s.Gauge})
	}
	if p.Flat != nil {
		picture.Outline = p.Flat.Heights
		picture.Beside = fmt.Sprintf("flat tops at %.2f mm", p.Flat.Height)
	}
	return picture
}

// PlanBalance is the chart of a plan's predicted balance, for Balance.
func PlanBalance(o *profiles.Order, p *plan.Plan) BalanceChart {
	chart := BalanceChart{Title: "Predicted balance of order " + o.ID, Tolerance: p.Tolerance}
	for i, s := range o.Strings {
		bar := Bar{String: i + 1, Note: s.Note, Balance: p.Balance[i], Expanded: math.NaN(), Target: p.Balance[i] - p.Deviation[i]}
		if off := p.Deviation[i]; off > p.Tolerance || off < -p.Tolerance {
			bar.Mark = Outside
		}
		chart.Bars = append(chart.Bars, bar)
	}
	return chart
}
