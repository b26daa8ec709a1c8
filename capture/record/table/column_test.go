package table

import (
	"math"
	"testing"
)

func TestDecimal(t *testing.T) {
	for _, tt := range []struct {
		v         float64
		low, high int
		want      string
	}{
		{0.61, 2, 4, "0.61"}, {3.5, 2, 4, "3.50"}, {1.397, 2, 4, "1.397"}, {4.213749, 2, 4, "4.2137"},
		{-0.00001, 2, 4, "0.00"}, {-0.05, 2, 4, "-0.05"}, {500, 0, 3, "500"}, {0.5, 0, 3, "0.5"}, {0, 0, 3, "0"},
		{100, 0, 0, "100"}, {12.3, 3, 3, "12.300"}, {math.NaN(), 3, 3, ""},
	} {
		if got := Decimal(tt.v, tt.low, tt.high); got != tt.want {
			t.Errorf("Decimal(%v, %d, %d) = %q, expected %q", tt.v, tt.low, tt.high, got, tt.want)
		}
	}
}
