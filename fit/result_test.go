package fit

import "evenpole/fit/cell"

// judgedAs fits and judges a model of one kind, also one that Best would refuse.
func judgedAs(d *cell.Data, kind string) (*Result, error) {
	k, err := kindOf(kind)
	if err != nil {
		return nil, err
	}
	return k.judged(d, nil)
}
