package firmwarenotes

import (
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"os"
	"strings"
	"testing"
)

func decibels(ratio float64) float64 { return 20 * math.Log10(ratio) }

// loaded is what a coil of so many ohm and henry gives to a load, of 1.
func loaded(hz, ohm, henry, farad, load float64) float64 {
	w := 2 * math.Pi * hz
	y := complex(1/load, w*farad)
	return 1 / cmplx.Abs(complex(ohm, w*henry)*y+1)
}

// added is by how many dB a level reads high when a quiet level is left in it.
func added(quiet, level float64) float64 { return 10 * math.Log10(1+quiet*quiet/level/level) }

// onAxis is the field over a rod of unit remanence, at mm from its face.
func onAxis(radius, length, at float64) float64 {
	return ((length+at)/math.Hypot(length+at, radius) - at/math.Hypot(at, radius)) / 2
}

// TestNumbersOfTheParts works out the numbers with which the page gives its reasons.
func TestNumbersOfTheParts(t *testing.T) {
	var rows []string
	for _, load := range []float64{100e3, 250e3, 1e6, 10e6} {
		row := fmt.Sprintf("| %g kohm ", load/1000)
		for _, hz := range []float64{82.4, 330, 1000, 3000} {
			row += fmt.Sprintf("| %+.2f / %+.2f ", decibels(loaded(hz, 6e3, 2.2, 210e-12, load)), decibels(loaded(hz, 6e3, 2.2, 580e-12, load)))
		}
		rows = append(rows, row+"|")
	}
	for _, bits := range []int{10, 12, 14, 16} {
		code := 4e6 / math.Exp2(float64(bits))
		noise := code / math.Sqrt(12)
		rows = append(rows, fmt.Sprintf("| %d | %.0f uV | %.0f uV | %.3f dB | %.4f dB |", bits, code, noise, added(noise, 5e3), added(noise, 20e3)))
	}
	for _, hz := range []float64{30.9, 41.2, 82.4, 110} {
		row := fmt.Sprintf("| %.1f Hz ", hz)
		for _, s := range []float64{0.1, 0.25, 0.5, 1} {
			row += fmt.Sprintf("| %.3f dB ", 10*math.Log10(1+1/(4*math.Pi*hz*s)))
		}
		rows = append(rows, row+"|")
	}
	for _, below := range []float64{20, 30, 40, 50} {
		h := math.Pow(10, -below/20)
		rows = append(rows, fmt.Sprintf("| %.0f dB | %.3f dB | %.2f dB |", below, added(h, 1), decibels(1+h)))
	}
	for _, scatter := range []float64{0.1, 0.2, 0.3, 0.5} {
		row := fmt.Sprintf("| %.1f dB ", scatter)
		for _, u := range []float64{0.15, 0.3, 0.6} {
			row += fmt.Sprintf("| %.0f ", math.Ceil(math.Pow(2*scatter/u, 2)-1e-9))
		}
		rows = append(rows, row+"|")
	}
	for _, at := range []float64{0.3, 0.5, 1, 2} {
		rows = append(rows, fmt.Sprintf("| %.1f mm | %.0f %% | %.1f %% |", at, 100*onAxis(2.4, 17, at), 100*(onAxis(2.4, 17, at)/onAxis(2.4, 17, at+0.05)-1)))
	}
	text := page(t)
	for _, row := range rows {
		if !strings.Contains(text, row+"\n") {
			t.Errorf("the page has no row %s", row)
		}
	}
}

// TestWiringPicture: the picture is whole, says what it shows, and is on the page.
func TestWiringPicture(t *testing.T) {
	file, err := os.Open("wiring.svg")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	titled := false
	d := xml.NewDecoder(file)
	for {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if start, ok := token.(xml.StartElement); ok && start.Name.Local == "title" {
			titled = true
		}
	}
	if !titled || !strings.Contains(page(t), "](wiring.svg)") {
		t.Errorf("titled %v; or the page does not show wiring.svg", titled)
	}
}
