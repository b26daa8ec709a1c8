package page

import (
	"fmt"
	"strings"
	"time"

	"evenpole/fit/level"
	"evenpole/profiles"
)

// How figures, names and days are written; figures that are not known are a dash.

const unknown = "–"

func known(format string, f level.Figure) string {
	if !f.Known() {
		return unknown
	}
	return profiles.Sprintf(format, float64(f))
}

func plain(f level.Figure) string { return known("%.2f", f) }

// plus writes decibels with their sign.
func plus(f level.Figure) string {
	if !f.Known() {
		return unknown
	}
	return signed(float64(f))
}

// signed writes decibels with their sign.
func signed(v float64) string { return profiles.Sprintf("%+.2f", v) }

func figure(v *float64) string {
	if v == nil {
		return unknown
	}
	return profiles.Sprintf("%.2f", *v)
}

func hundredths(v float64) string { return profiles.Sprintf("%.2f", v) }

func percent(share float64) string { return fmt.Sprintf("%.0f %%", 100*share) }

func interval(pair [2]float64) string { return fmt.Sprintf("%.2f to %.2f", pair[0], pair[1]) }

func minute(t time.Time) string {
	if t.IsZero() {
		return unknown
	}
	return t.UTC().Format("2006-01-02 15:04")
}

func day(t time.Time) string {
	if t.IsZero() {
		return unknown
	}
	return t.UTC().Format(time.DateOnly)
}

func orDash(text string) string {
	if text == "" {
		return unknown
	}
	return text
}

func joined(parts []string) string { return orDash(strings.Join(parts, ", ")) }

// units of keys, as labels have them.
var unitsOfKeys = strings.NewReplacer("_db", ", dB", "_ohm", ", ohm", "_percent", ", %", "_", " ")

// labelled is a key of a file as a label: "Tolerance, dB".
func labelled(key string) string {
	text := unitsOfKeys.Replace(key)
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// normalised is a text of a form with the line ends of a file.
func normalised(text string) string { return strings.ReplaceAll(text, "\r\n", "\n") }

// lengths writes lengths in mm, in units.
func lengths(u profiles.Units, mm []float64) string {
	return orDash(u.Figures(mm))
}
