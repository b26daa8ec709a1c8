package level

import (
	"encoding/json"
	"math"
	"testing"
)

// What is not known is null, in both directions; what is known comes back as it was.
func TestFigureInJSON(t *testing.T) {
	for _, f := range []Figure{0, -1.25, Figure(math.NaN()), Figure(math.Inf(1))} {
		text, err := json.Marshal(f)
		if err != nil {
			t.Fatal(err)
		}
		if !f.Known() != (string(text) == "null") {
			t.Errorf("%v is written as %s", f, text)
		}
		var back Figure
		if err := json.Unmarshal(text, &back); err != nil || back.Known() != f.Known() || f.Known() && back != f {
			t.Errorf("%v comes back as %v, %v", f, back, err)
		}
	}
}
