package main

import (
	"strings"

	"github.com/spf13/cobra"
)

// examples are lines for each command's help, by its path. They run in the shop that
// 'evenpole demo' leaves, with a jig on the port; a test runs every one.
var examples = map[string][]string{
	"capture": {
		"evenpole mount new --units in jig/T-9.toml",
		"evenpole capture --port /dev/ttyACM0 --mount jig/T-1-1.toml --purpose model --takes 4",
		"evenpole capture --port /dev/ttyACM0 --mount jig/L-012-a.toml --purpose check --again",
		"evenpole capture --port /dev/ttyACM0 --mount jig/L-012-a.toml --purpose repeat --again --operator Bo --until 0.15",
		"evenpole capture --port /dev/ttyACM0 --mount jig/gale.toml --purpose batch --field all",
		"evenpole capture --recording T-1.wav --mount jig/T-1-1.toml --purpose model --excite travel --svg heard.svg",
		"evenpole capture --recording T-1.wav --mount jig/T-1-1.toml --purpose model --excite travel --recorder desk --yes",
	},
	"share":        {"evenpole share --bench north --folder stick", "evenpole share"},
	"share init":   {"evenpole share init --folder stick"},
	"share admit":  {"evenpole share admit north"},
	"share close":  {"evenpole share close north"},
	"share status": {"evenpole share status"},
	"share verify": {"evenpole share verify"},
	"share export": {"evenpole share export --out all.csv"},
	"share same":   {"evenpole share same pickup T-1 --reason 'it travels'", "evenpole share same batch gale north south"},
	"share apart":  {"evenpole share apart pickup T-2"},

	"demo":       {"evenpole demo", "evenpole demo --dir second --seed 2"},
	"jig list":   {"evenpole jig list"},
	"jig talk":   {"evenpole jig talk --port /dev/ttyACM0"},
	"jig verify": {"evenpole jig verify --port /dev/ttyACM0"},
	"jig sim": {"evenpole jig sim --mount jig/T-1-1.toml --speed 50", "evenpole jig sim --bit-flip 0.02 --lose-line 0.02",
		"evenpole jig sim --mount jig/L-012-a.toml --speed 100 --weak 4=40 --reversed 2",
		"evenpole jig sim --mount jig/L-012-a.toml --speed 100 --remount --hands Bo,Ida --first-day 2026-03-02 --mountings-a-day 3 --drift-db -0.03"},
	"fit":           {"evenpole fit", "evenpole fit --readings readings.csv --out again.json", "evenpole fit --shared --out of-all-benches.json"},
	"model list":    {"evenpole model list"},
	"model show":    {"evenpole model show", "evenpole model show 1"},
	"model compare": {"evenpole model compare 1 2"},
	"model use":     {"evenpole model use 1"},
	"pictures":      {"evenpole pictures", "evenpole pictures --out proofs"},
	"plan":          {"evenpole plan orders/L-012.toml", "evenpole plan orders/L-012.toml --what-if", "evenpole plan orders/L-012.toml --svg poles.svg --full-size gauge.pdf --csv plan.csv"},
	"order new":     {"evenpole order new orders/L-013.toml", "evenpole order new --units in", "evenpole order new --kind bass"},
	"mount new":     {"evenpole mount new jig/L-013-a.toml", "evenpole mount new --units in", "evenpole mount new --kind magnets jig/box.toml", "evenpole mount new --session s002 s002.toml"},
	"explain":       {"evenpole explain --order orders/L-012.toml", "evenpole explain --pickup L-012-a --svg causes.svg"},
	"next":          {"evenpole next --order orders/L-012.toml"},
	"batch": {"evenpole batch --batch gale --min-mt 30 --max-mt 330 --probe-gap 0.5", "evenpole batch --set-size 6 --report batch.pdf",
		"evenpole batch --batch gale --probe-gap 0.02in --rod-diameter 0.1875in --rod-length 0.65in"},
	"check":           {"evenpole check --order orders/L-012.toml --pickup L-012-a", "evenpole check --order orders/L-012.toml --pickup L-012-a --resistance-ohm 6210 --temperature-c 23 --paper letter"},
	"repeat":          {"evenpole repeat --pickup L-012-a --order orders/L-012.toml", "evenpole repeat --shared"},
	"repeat design":   {"evenpole repeat design --operators 2 --mount jig/L-012-a.toml"},
	"calibrate":       {"evenpole calibrate --jig sim-1 --source-mv 20 --source-u 0.1 --reading-mv 19.82,19.85,19.84,19.83", "evenpole calibrate --jig recording-desk --recording tone.wav --source-mv 20 --source-u 0.1"},
	"drift":           {"evenpole drift", "evenpole drift --reference L-012-a"},
	"record verify":   {"evenpole record verify"},
	"record seal":     {"evenpole record seal"},
	"record amend":    {"evenpole record amend --session s002 --mount jig/T-1-2.toml --reason 'two heights were swapped'"},
	"record retract":  {"evenpole record retract --row 40 --reason 'the cable was loose'", "evenpole record retract --session s003"},
	"record import":   {"evenpole record import sheet.csv", "evenpole record import friend.csv --column 'Output=rms_mv' --set core_mm=0.254 --yes"},
	"record export":   {"evenpole record export --pickup T-2 --status ok --out T-2.csv"},
	"page":            {"evenpole page"},
	"strings":         {"evenpole strings"},
	"notices":         {"evenpole notices"},
	"version":         {"evenpole version"},
	"man":             {"evenpole man man1"},
	"record sessions": {"evenpole record sessions"},
	"record list":     {"evenpole record list"},
	"record show":     {"evenpole record show L-012-a", "evenpole record show s002"},
}

// showExamples gives every command under root its examples.
func showExamples(root *cobra.Command) {
	for _, cmd := range root.Commands() {
		showExamples(cmd)
		lines := examples[strings.TrimPrefix(cmd.CommandPath(), "evenpole ")]
		if len(lines) > 0 {
			cmd.Example = "  " + strings.Join(lines, "\n  ")
		}
	}
}
