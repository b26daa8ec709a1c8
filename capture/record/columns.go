package record

import (
	"math"
	"strconv"
	"strings"
	"time"

	"evenpole/capture/record/table"
	"evenpole/profiles"
)

// readingColumns are the columns of readings.csv in the order of a new file. What
// reads, writes, seals and imports readings goes by this list alone. The files that
// shops have lack a column that is added: Writer.open takes them if it names the column
// as optional, and refuses them otherwise.
var readingColumns = table.New(
	table.Time("time", func(r *Reading) *time.Time { return &r.Time }),
	name("session", func(r *Reading) *string { return &r.Session }),
	table.Word("purpose", func(r *Reading) *Purpose { return &r.Purpose }, Purposes()),
	name("jig", func(r *Reading) *string { return &r.Jig }),
	name("boot", func(r *Reading) *string { return &r.Boot }),
	table.Sequence("seq", func(r *Reading) *uint32 { return &r.Seq }, func(r *Reading) *bool { return &r.HasSeq }),
	name("pickup", func(r *Reading) *string { return &r.Pickup }),
	name("batch", func(r *Reading) *string { return &r.Batch }),
	table.Count("string", func(r *Reading) *int { return &r.String }, profiles.MaxStrings).Needed(),
	name("string_set", func(r *Reading) *string { return &r.StringSet }),
	diameter("core_mm", func(r *Reading) *float64 { return &r.Core }).Needed(),
	diameter("gauge_mm", func(r *Reading) *float64 { return &r.Gauge }),
	name("wrap", func(r *Reading) *profiles.Wrap { return &r.Wrap }),
	height("pole_height_mm", func(r *Reading) *float64 { return &r.PoleHeight }).Needed(),
	height("string_height_mm", func(r *Reading) *float64 { return &r.StringHeight }).Needed(),
	table.Word("mode", func(r *Reading) *Mode { return &r.Mode }, Modes()),
	table.Count("take", func(r *Reading) *int { return &r.Take }, math.MaxInt),
	level("rms_mv", func(r *Reading) *float64 { return &r.RMS }).Needed(),
	level("peak_mv", func(r *Reading) *float64 { return &r.Peak }),
	frequency("freq_hz", func(r *Reading) *float64 { return &r.Freq }),
	duration("window_ms", func(r *Reading) *float64 { return &r.Window }),
	level("quiet_mv", func(r *Reading) *float64 { return &r.Quiet }),
	table.Word("excite", func(r *Reading) *profiles.Excitation { return &r.Excite }, profiles.Excitations()),
	table.Word("status", func(r *Reading) *Status { return &r.Status }, Statuses()),
	note("note", func(r *Reading) *string { return &r.Note }),
	table.Word("under", func(r *Reading) *profiles.Under { return &r.Under }, profiles.Unders()),
	height("pole_height_2_mm", func(r *Reading) *float64 { return &r.PoleHeight2 }).When((*Reading).TwoCoils),
	table.Text("coil_2_gain", func(r *Reading) *string { return &r.Gain2 }).Checked(isGain, "a number from -100 to 100 that is not 0"),
).Finish(func(r *Reading, c *table.Cells) { r.Line = c.Line })

// fieldColumns are likewise those of fields.csv.
var fieldColumns = table.New(
	table.Time("time", func(r *FieldReading) *time.Time { return &r.Time }),
	name("session", func(r *FieldReading) *string { return &r.Session }),
	name("jig", func(r *FieldReading) *string { return &r.Jig }),
	name("boot", func(r *FieldReading) *string { return &r.Boot }),
	table.Sequence("seq", func(r *FieldReading) *uint32 { return &r.Seq }, func(r *FieldReading) *bool { return &r.HasSeq }),
	name("batch", func(r *FieldReading) *string { return &r.Batch }),
	name("magnet", func(r *FieldReading) *string { return &r.Magnet }),
	name("pickup", func(r *FieldReading) *string { return &r.Pickup }),
	table.Count("string", func(r *FieldReading) *int { return &r.String }, profiles.MaxStrings),
	table.Count("position", func(r *FieldReading) *int { return &r.Position }, math.MaxInt),
	table.Count("take", func(r *FieldReading) *int { return &r.Take }, math.MaxInt),
	flux("field_mt", func(r *FieldReading) *float64 { return &r.Field }).Needed(),
	distance("probe_gap_mm", func(r *FieldReading) *float64 { return &r.ProbeGap }),
	table.Word("status", func(r *FieldReading) *Status { return &r.Status }, Statuses()),
	note("note", func(r *FieldReading) *string { return &r.Note }),
).Finish(func(r *FieldReading, c *table.Cells) { r.Line = c.Line })

// name: of a session, jig, pickup, batch, magnet, string set or wrap.
func name[T any, S ~string](column string, at func(*T) *S) table.Column[T] {
	return table.Text(column, at).Checked(profiles.IsName, profiles.WantName)
}

// note: a person's words.
func note[T any](column string, at func(*T) *string) table.Column[T] {
	return table.Text(column, at).Checked(profiles.IsNote, profiles.WantNote)
}

// isGain: no digest rounds it, as it does numbers with a unit.
func isGain(text string) bool {
	v, err := strconv.ParseFloat(text, 64)
	return text == "" || err == nil && v != 0 && v >= -100 && v <= 100
}

// number: one that is not so large that its whole part would be kept altered.
func number[T any](column string, at func(*T) *float64, f table.Format) table.Column[T] {
	return table.Number(column, at, f).Checked(keptExactly, "a number below 9007199254740992 (2^53), above which whole numbers are not told apart")
}

// keptExactly tells whether a float64 holds the whole part of a number exactly. What is no
// number is for the column to refuse.
func keptExactly(text string) bool {
	const digits = 15 // so many fit a float64
	if len(text) <= digits && !strings.ContainsAny(text, "eE") {
		return true
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	return err != nil || math.Abs(v) < 1<<53
}

// The columns of numbers, by what they measure. Their names end in a unit, and their
// decimals are those of what measures: levels to the microvolt and frequencies to the
// millihertz that the jig sends, lengths as a caliper tells them.

// level: RMS or peak mV.
func level[T any](name string, at func(*T) *float64) table.Column[T] {
	return number(name, at, table.Format{Few: 3, Most: 3})
}

// height: mm above the bobbin plane, below it when negative.
func height[T any](name string, at func(*T) *float64) table.Column[T] {
	return number(name, at, table.Format{Low: math.Inf(-1), Few: 2, Most: 4})
}

// distance: mm.
func distance[T any](name string, at func(*T) *float64) table.Column[T] {
	return number(name, at, table.Format{Few: 2, Most: 4})
}

// diameter: mm. One that is too small to write down is a mistake.
func diameter[T any](name string, at func(*T) *float64) table.Column[T] {
	return number(name, at, table.Format{Low: 0.0001, Few: 4, Most: 4})
}

// flux: mT, signed.
func flux[T any](name string, at func(*T) *float64) table.Column[T] {
	return number(name, at, table.Format{Low: math.Inf(-1), Few: 2, Most: 3})
}

// frequency: Hz. A quiet window has none, and says 0.
func frequency[T any](name string, at func(*T) *float64) table.Column[T] {
	return number(name, at, table.Format{Few: 3, Most: 3, Zero: "0"})
}

// duration: ms.
func duration[T any](name string, at func(*T) *float64) table.Column[T] {
	return number(name, at, table.Format{Most: 3})
}
