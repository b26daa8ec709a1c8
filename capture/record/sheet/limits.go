package sheet

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"

	"evenpole/capture/record/table"
	"evenpole/profiles"
)

// unitWords are units of length as people say them.
var unitWords = map[string]string{"mm": "millimetres", "in": "inches", "thou": "thousandths of an inch"}

// OutsideLimits says which length of a row is outside the limits that mounts have, or cannot
// be beside another one; nil when none is. row is in the record's writing, and from is
// the row of the spreadsheet that it was made of, whose columns these are.
func OutsideLimits(l *table.Layout, row table.Row, from *Row, columns []Column) *table.RowError {
	mm := func(column string) (v float64, ok bool) {
		i, ok := l.Index(column)
		if !ok {
			return 0, false
		}
		v, err := strconv.ParseFloat(row[i], 64)
		return v, err == nil
	}
	at := table.Place(from.Place)
	for _, column := range l.Names {
		stem, _ := strings.CutSuffix(column, "_mm")
		limit, limited := profiles.MountLimit(stem)
		if v, ok := mm(column); ok && limited && !limit.Has(v) {
			return outsideLimit(at, column, v, from.Text(column), columns, limit)
		}
	}
	pole, hasPole := mm("pole_height_mm")
	if above, ok := mm("string_height_mm"); ok && hasPole && pole >= above {
		return at.Expected("pole_height_mm", fmt.Sprintf("a pole below its string at %.4g mm", above), fmt.Sprintf("%.4g mm", pole))
	}
	core, hasCore := mm("core_mm")
	if gauge, ok := mm("gauge_mm"); ok && hasCore && core > gauge {
		return at.Expected("core_mm", fmt.Sprintf("no more than the gauge, %.4g mm", gauge), fmt.Sprintf("%.4g mm", core))
	}
	return nil
}

// outsideLimit is the error of a length outside its limit. text is what the file has,
// "" where the length is not from the file. It names the unit in which the number would
// be within.
func outsideLimit(at table.Place, column string, v float64, text string, columns []Column, limit profiles.Limit) *table.RowError {
	here := Column{Column: column}
	for _, c := range columns {
		if c.Column == column {
			here = c
		}
	}
	units := Units(column)
	unit := units[0]
	for _, u := range units {
		if u.Name == here.Unit {
			unit = u
		}
	}
	cause := ""
	for _, u := range units {
		if u != unit && limit.Has(v/unit.Size*u.Size) {
			cause = fmt.Sprintf("; if that is %s", unitWords[u.Name])
			if text != "" {
				cause += fmt.Sprintf(", say so with --column '%s=%s'", here.Header, u.Column)
			}
			break
		}
	}
	e := at.Expected(column, limit.In(unit.Name, unit.Size), cmp.Or(text, strconv.FormatFloat(v, 'f', -1, 64)))
	e.Msg += cause
	return e
}
