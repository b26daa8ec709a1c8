package record

import (
	"math"

	"evenpole/profiles"
)

// readingRow is a row of readings.csv as text. The order of its fields is that
// of the columns in a new file.
type readingRow struct {
	Time         string `csv:"time"`
	Session      string `csv:"session"`
	Purpose      string `csv:"purpose"`
	Jig          string `csv:"jig"`
	Boot         string `csv:"boot"`
	Seq          string `csv:"seq"`
	Pickup       string `csv:"pickup"`
	Batch        string `csv:"batch"`
	String       string `csv:"string"`
	StringSet    string `csv:"string_set"`
	Core         string `csv:"core_mm"`
	Gauge        string `csv:"gauge_mm"`
	Wrap         string `csv:"wrap"`
	PoleHeight   string `csv:"pole_height_mm"`
	StringHeight string `csv:"string_height_mm"`
	Mode         string `csv:"mode"`
	Take         string `csv:"take"`
	RMS          string `csv:"rms_mv"`
	Peak         string `csv:"peak_mv"`
	Freq         string `csv:"freq_hz"`
	Window       string `csv:"window_ms"`
	Quiet        string `csv:"quiet_mv"`
	Excite       string `csv:"excite"`
	Status       string `csv:"status"`
	Note         string `csv:"note"`
}

// needReading are the columns without which a reading says nothing.
var needReading = []string{"string", "core_mm", "pole_height_mm", "string_height_mm", "rms_mv"}

func (w *readingRow) parse(c *cells) Reading {
	seq, hasSeq := c.seq("seq", w.Seq)
	return Reading{
		Time:         c.stamp("time", w.Time),
		Session:      w.Session,
		Purpose:      word(c, "purpose", w.Purpose, Purposes...),
		Jig:          w.Jig,
		Boot:         w.Boot,
		Seq:          seq,
		HasSeq:       hasSeq,
		Pickup:       w.Pickup,
		Batch:        w.Batch,
		String:       c.count("string", w.String, profiles.MaxStrings),
		StringSet:    w.StringSet,
		Core:         c.size("core_mm", w.Core),
		Gauge:        c.size("gauge_mm", w.Gauge),
		Wrap:         profiles.Wrap(w.Wrap),
		PoleHeight:   c.any("pole_height_mm", w.PoleHeight),
		StringHeight: c.any("string_height_mm", w.StringHeight),
		Mode:         word(c, "mode", w.Mode, modes...),
		Take:         c.count("take", w.Take, math.MaxInt),
		RMS:          c.level("rms_mv", w.RMS),
		Peak:         c.level("peak_mv", w.Peak),
		Freq:         c.level("freq_hz", w.Freq),
		Window:       c.level("window_ms", w.Window),
		Quiet:        c.level("quiet_mv", w.Quiet),
		Excite:       word(c, "excite", w.Excite, profiles.Excitations()...),
		Status:       c.status("status", w.Status),
		Note:         w.Note,
	}
}

// row returns the reading as text.
func (r *Reading) row() readingRow {
	return readingRow{
		Time:         stampText(r.Time),
		Session:      r.Session,
		Purpose:      string(r.Purpose),
		Jig:          r.Jig,
		Boot:         r.Boot,
		Seq:          seqText(r.Seq, r.HasSeq),
		Pickup:       r.Pickup,
		Batch:        r.Batch,
		String:       countText(r.String),
		StringSet:    r.StringSet,
		Core:         wireText(r.Core),
		Gauge:        wireText(r.Gauge),
		Wrap:         string(r.Wrap),
		PoleHeight:   heightText(r.PoleHeight),
		StringHeight: heightText(r.StringHeight),
		Mode:         string(r.Mode),
		Take:         countText(r.Take),
		RMS:          levelText(r.RMS),
		Peak:         levelText(r.Peak),
		Freq:         freqText(r.Freq),
		Window:       wholeText(r.Window),
		Quiet:        levelText(r.Quiet),
		Excite:       string(r.Excite),
		Status:       string(r.Status),
		Note:         r.Note,
	}
}

// fieldRow is a row of fields.csv as text.
type fieldRow struct {
	Time     string `csv:"time"`
	Session  string `csv:"session"`
	Jig      string `csv:"jig"`
	Boot     string `csv:"boot"`
	Seq      string `csv:"seq"`
	Batch    string `csv:"batch"`
	Magnet   string `csv:"magnet"`
	Pickup   string `csv:"pickup"`
	String   string `csv:"string"`
	Position string `csv:"position"`
	Take     string `csv:"take"`
	Field    string `csv:"field_mt"`
	ProbeGap string `csv:"probe_gap_mm"`
	Status   string `csv:"status"`
	Note     string `csv:"note"`
}

// needField are the columns without which a field reading says nothing.
var needField = []string{"field_mt"}

func (w *fieldRow) parse(c *cells) FieldReading {
	seq, hasSeq := c.seq("seq", w.Seq)
	return FieldReading{
		Time:     c.stamp("time", w.Time),
		Session:  w.Session,
		Jig:      w.Jig,
		Boot:     w.Boot,
		Seq:      seq,
		HasSeq:   hasSeq,
		Batch:    w.Batch,
		Magnet:   w.Magnet,
		Pickup:   w.Pickup,
		String:   c.count("string", w.String, profiles.MaxStrings),
		Position: c.count("position", w.Position, math.MaxInt),
		Take:     c.count("take", w.Take, math.MaxInt),
		Field:    c.any("field_mt", w.Field),
		ProbeGap: c.level("probe_gap_mm", w.ProbeGap),
		Status:   c.status("status", w.Status),
		Note:     w.Note,
	}
}

// row returns the field reading as text.
func (r *FieldReading) row() fieldRow {
	return fieldRow{
		Time:     stampText(r.Time),
		Session:  r.Session,
		Jig:      r.Jig,
		Boot:     r.Boot,
		Seq:      seqText(r.Seq, r.HasSeq),
		Batch:    r.Batch,
		Magnet:   r.Magnet,
		Pickup:   r.Pickup,
		String:   countText(r.String),
		Position: countText(r.Position),
		Take:     countText(r.Take),
		Field:    fieldText(r.Field),
		ProbeGap: heightText(r.ProbeGap),
		Status:   string(r.Status),
		Note:     r.Note,
	}
}

func (c *cells) status(column, text string) Status {
	return word(c, column, text, OK, Faulty, Clipped, DoubleStrike, ShortWindow, Retracted)
}
