package profiles

import (
	"fmt"
	"math"
)

// samePitch is how far, in cents, a string may sound from its note and be at its pitch:
// half a semitone (our rule).
const samePitch = 50

// WrongPitch says how a string sounds that is not at its note; "" when it is, or when
// one of the two is not known. hz is its fundamental, 0 when that was not measured.
func WrongPitch(note string, hz float64) string {
	want, err := Pitch(note)
	if err != nil || !(hz > 0) || math.Abs(1200*math.Log2(hz/want)) <= samePitch {
		return ""
	}
	return fmt.Sprintf("at %.1f Hz, its note at %.1f Hz: %s in place of %s", hz, want, nearestNote(hz), note)
}

// noteNames are the notes of an octave over C, as Pitch reads them.
var noteNames = [12]string{"C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"}

// nearestNote names the note that a frequency in Hz is nearest to.
func nearestNote(hz float64) string {
	fromC0 := int(math.Round(12*math.Log2(hz/440))) + 4*12 + 9
	octave := int(math.Floor(float64(fromC0) / 12))
	return fmt.Sprintf("%s%d", noteNames[fromC0-12*octave], octave)
}
