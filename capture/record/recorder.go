package record

import "strings"

// recorder is the jig's name of takes from recordings; a recorder's own name follows.
const recorder = "recording"

// RecorderJig is the jig's name of takes from a recorder, by the name that people gave it
// as it is set up; "" for one that has none.
func RecorderJig(name string) string {
	if name == "" {
		return recorder
	}
	return recorder + "-" + name
}

// IsRecorder reports whether a jig's name is that of takes from recordings.
func IsRecorder(jig string) bool { return jig == recorder || strings.HasPrefix(jig, recorder+"-") }

// RelativeNote is in the note of a recorder's takes whose levels are in thousandths of full
// scale, as no calibration of it was known when they were filed. Others are in mV.
const RelativeNote = "level in thousandths of full scale"

// Relative reports whether the levels of a row, as it was filed, are in no known unit.
func (r *Reading) Relative() bool {
	return IsRecorder(r.Jig) && strings.Contains(r.Note, RelativeNote)
}

// ScaleOf names what the levels of a row are relative to, as long as no calibration says:
// those of one recorder that has a name compare, and else those of one recording. "" is
// that of levels in mV.
func (r *Reading) ScaleOf() string {
	switch {
	case !r.Relative():
		return ""
	case r.Jig == recorder:
		return recorder + "/" + r.Boot
	}
	return r.Jig
}
