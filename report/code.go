package report

import (
	"image/color"

	"github.com/boombuler/barcode/qr"
)

// codeModule is the side of a module of a QR code, in user units.
const codeModule = 4

// drawCode draws a text as a QR code (error correction level M, of which some 15 %
// may be spoilt) and returns its side in user units; 0 for a text that is too long
// for one. The paper round it has to stay white for four modules.
func drawCode(on canvas, text string) (side float64) {
	code, err := qr.Encode(text, qr.M, qr.Unicode)
	if err != nil {
		return 0
	}
	n := code.Bounds().Dx()
	dark := func(x, y int) bool { return code.At(x, y) == color.Black }
	for y := range n {
		for x := 0; x < n; x++ {
			first := x
			for x < n && dark(x, y) {
				x++
			}
			if x > first { // neighbours in one piece, so that no seam shows
				on.rect(float64(first)*codeModule, float64(y)*codeModule, float64(x-first)*codeModule, codeModule, "solid")
			}
		}
	}
	return float64(n) * codeModule
}
