package report

// codeModule is the side of a module of a QR code, in user units.
const codeModule = 4

// drawCode draws a text as a QR code and returns its side in user units; 0 for a
// text that is too long for one. The paper round it has to stay white for four
// modules.
func drawCode(on canvas, text string) (side float64) {
	rows, ok := qrModules(text)
	if !ok {
		return 0
	}
	for y, row := range rows {
		for x := 0; x < len(row); x++ {
			first := x
			for x < len(row) && row[x] {
				x++
			}
			if x > first { // neighbours in one piece, so that no seam shows
				on.rect(float64(first)*codeModule, float64(y)*codeModule, float64(x-first)*codeModule, codeModule, "solid")
			}
		}
	}
	return float64(len(rows)) * codeModule
}
