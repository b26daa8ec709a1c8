package fit

import "evenpole/fit/cell"

// measuredAs fits a model and measures its error of one kind, also one that Best would refuse.
func measuredAs(d *cell.Data, kind string) (*Result, error) {
	k, err := kindOf(kind)
	if err != nil {
		return nil, err
	}
	return k.measured(d, nil)
}
