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

// ScaleOf names what the levels of a take from a recorder are relative to, as long as no
// calibration says: those of one recorder that has a name compare, and else those of one
// recording. "" is that of a jig, whose levels are in mV.
func (r *Reading) ScaleOf() string {
	switch {
	case !IsRecorder(r.Jig):
		return ""
	case r.Jig == recorder:
		return recorder + "/" + r.Boot
	}
	return r.Jig
}
