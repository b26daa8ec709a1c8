package recording

import (
	"bytes"
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"evenpole/recording/soundtest"
)

// A tone is measured without the silence about it; one that is none is refused.
func TestSteady(t *testing.T) {
	x := make([]float64, 6*8000)
	for i := range x {
		if i > 6000 && i < 42000 {
			x[i] = 0.3*math.Sin(2*math.Pi*440*float64(i)/8000) + 0.01
		}
	}
	steady := func(x []float64) ([]float64, error) {
		return Steady(context.Background(), "x.wav", bytes.NewReader(soundtest.WAV(x, 8000, 24, 1)), 1)
	}
	got, err := steady(x)
	if err != nil || len(got) < leastWindows {
		t.Fatalf("got %v, %v", got, err)
	}
	for _, v := range got {
		if math.Abs(v-0.3/math.Sqrt2) > 1e-4 {
			t.Errorf("got %v, want %g", got, 0.3/math.Sqrt2)
		}
	}
	for i := range x {
		x[i] *= 1 + float64(i)/48000
	}
	var se *SteadyError
	if _, err := steady(x); !errors.As(err, &se) || !strings.Contains(err.Error(), "of one level") {
		t.Errorf("a tone that grows: got %v", err)
	}
	if _, err := steady(x[:5000]); !errors.As(err, &se) {
		t.Errorf("a short one: got %v", err)
	}
}
