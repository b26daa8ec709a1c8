package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/jig/sim"
	"evenpole/profiles"
	"evenpole/recording/soundtest"
	"evenpole/shop/workshop"
)

// recordedRate is the rate of the recordings of these tests.
const recordedRate = 16000

const recordedOrder = `id = "R-100"
set = "light plain-third 10-46"
[instrument]
fretboard_radius_mm = 241
string_spread_mm = 52
scale_length_mm = 648
pickup_from_bridge_mm = 100
[pickup]
batch = "M-01"
poles = "rod"
pole_height_min_mm = 0
pole_height_max_mm = 2
pole_height_step_mm = 0.05
min_gap_mm = 0.8
string_height_first_mm = 3
string_height_last_mm = 3
[target]
tolerance_db = 1.5
`

// recordedMount is a mount over the strings of the order.
func recordedMount(pickup, heights, over string) string {
	return fmt.Sprintf("pickup = %q\nbatch = \"M-01\"\npoles = \"rod\"\npole_heights_mm = [%s]\nstring_heights_mm = [%s]\nset = \"light plain-third 10-46\"\n", pickup, heights, over)
}

// mountedLevels is a mount, and what the simulated jig's physics measures of it, mV.
func mountedLevels(t *testing.T, text string) (*profiles.Mount, []float64) {
	t.Helper()
	lib, err := profiles.LoadLibrary(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	m, err := profiles.ParseMount("mount.toml", []byte(text), lib)
	if err != nil {
		t.Fatal(err)
	}
	mounted, err := workshop.Mounted(m, 1)
	if err != nil {
		t.Fatal(err)
	}
	j := sim.New(sim.Config{Seed: 1, Excite: jig.Travel, Scatter: &sim.Scatter{}})
	j.Mount(mounted)
	return m, j.TrueLevels()
}

// recordBench renders plucks by a hand into a recorder of a gain, 1/mV: each string's
// RMS over the window is the level that the jig would measure, times how hard it was
// plucked.
func recordBench(r *rand.Rand, m *profiles.Mount, levels []float64, takes int, hand, gain float64) []byte {
	s := soundtest.Scene{Rate: recordedRate, Hum: 2e-5, Noise: 2e-5, Offset: 0.003}
	at := 1.0
	for range takes {
		for i, str := range m.Strings {
			hz, err := profiles.Pitch(str.Note)
			if err != nil {
				panic(err)
			}
			p := soundtest.Pluck{At: at, String: i + 1, Freq: hz, Level: 1, Place: 0.2, Pickup: 100.0 / 648, Stiff: 2e-5, Decay: 0.4, Bright: 0.5, Stop: 0.75}
			alone := make([]float64, recordedRate)
			q := p
			q.At = 0
			q.Add(alone, recordedRate, rand.New(rand.NewPCG(1, 1)))
			sum := 0.0
			for _, v := range alone[recordedRate/50 : recordedRate/50+recordedRate/2] {
				sum += v * v
			}
			p.Level = gain * levels[i] * math.Exp(hand*r.NormFloat64()) / math.Sqrt(sum/(recordedRate/2))
			s.Plucks = append(s.Plucks, p)
			at += 0.85
		}
	}
	s.Seconds = at + 0.3
	return soundtest.WAV(s.Sound(r), recordedRate, 24, 1)
}

// jigRows adds to a shop what a jig would have measured.
func jigRows(t *testing.T, r *rand.Rand, dir, session string, purpose record.Purpose, m *profiles.Mount, levels []float64, takes int) {
	t.Helper()
	w, err := record.OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	for i := range levels {
		for k := range takes {
			row := record.Reading{Session: session, Purpose: purpose, Jig: "sim-1", Boot: fmt.Sprintf("%08X", len(session)+int(session[len(session)-1])), Seq: uint32(i*takes + k + 1), HasSeq: true,
				String: i + 1, Mode: record.Pluck, Take: k + 1, RMS: levels[i] * math.Exp(0.02*r.NormFloat64()), Freq: math.NaN(), Peak: math.NaN(), Window: 500, Quiet: 0.1, Excite: profiles.Travel, Status: record.OK}
			row.SetMount(m)
			if err := w.AddReading(&row); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

// bothShops are two shops that measured the same pickups, one with a jig and one with a
// recorder alone.
type bothShops struct {
	t        *testing.T
	r        *rand.Rand
	jig, rec string
}

func newBothShops(t *testing.T) *bothShops {
	b := &bothShops{t: t, r: rand.New(rand.NewPCG(5, 6)), jig: t.TempDir(), rec: t.TempDir()}
	for _, dir := range []string{b.jig, b.rec} {
		write(t, filepath.Join(dir, "order.toml"), recordedOrder)
	}
	return b
}

// measure has a pickup measured in both shops, in the one with a gain of its own.
func (b *bothShops) measure(n int, purpose record.Purpose, mount string, takes int, gain float64) {
	m, levels := mountedLevels(b.t, mount)
	jigRows(b.t, b.r, b.jig, fmt.Sprintf("s%03d", n), purpose, m, levels, 5)
	write(b.t, filepath.Join(b.rec, "mount.toml"), mount)
	file := fmt.Sprintf("%d.wav", n)
	write(b.t, filepath.Join(b.rec, file), string(recordBench(b.r, m, levels, takes, 0.08, gain)))
	b.do(b.rec, 0, "capture", "--recording", file, "--mount", "mount.toml", "--purpose", string(purpose), "--excite", "travel", "--yes", "--quiet")
}

// do runs a command in a shop, which ends with one of these statuses.
func (b *bothShops) do(dir string, want int, words ...string) string {
	b.t.Helper()
	status, said := runIn(dir, append([]string{"evenpole"}, words...)...)
	if status != want && (want >= 0 || status == exitFailed || status == 2) {
		b.t.Fatalf("evenpole %s: status %d: %s", strings.Join(words, " "), status, said)
	}
	return said
}

func decoded[T any](t *testing.T, said string) (out T) {
	t.Helper()
	said = said[strings.Index(said, "{") : strings.LastIndex(said, "}")+1]
	if err := json.Unmarshal([]byte(said), &out); err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	return out
}

type plannedBy struct {
	Heights  []float64  `json:"heights_mm"`
	Level    []*float64 `json:"level_mv"`
	Balance  []float64  `json:"balance_db"`
	Spread   float64    `json:"spread_db"`
	Meets    float64    `json:"meets"`
	Warnings []string   `json:"warnings"`
}

type judgedBy struct {
	Verdict string `json:"verdict"`
	Strings []struct {
		Level     *float64 `json:"level_mv"`
		Deviation float64  `json:"deviation_db"`
		Expanded  float64  `json:"expanded_u_db"`
	} `json:"strings"`
}

// A shop that has only recordings goes the whole way to a plan and a verdict, and the
// same pickups by a jig and by recordings give the same within what both say. Each
// recording has a gain of its own.
func TestRecordingsAlone(t *testing.T) {
	b := newBothShops(t)
	for i, heights := range []string{"0.2, 0.8, 1.6, 0.4, 1.0, 0.6", "1.4, 0.3, 0.7, 1.2, 0.2, 1.0", "0.6, 1.5, 0.2, 0.9, 1.4, 0.1"} {
		b.measure(i+1, record.ForModel, recordedMount(fmt.Sprintf("T-%d", i+1), heights, "3, 3, 3, 3, 3, 3"), 6, []float64{2e-4, 6e-4, 1e-4}[i])
	}
	var plans []plannedBy
	for _, dir := range []string{b.jig, b.rec} {
		b.do(dir, 0, "fit")
		plans = append(plans, decoded[plannedBy](t, b.do(dir, 0, "plan", "order.toml", "--json")))
	}
	byJig, byRecorder := plans[0], plans[1]
	for i := range byJig.Heights {
		if d := math.Abs(byJig.Heights[i] - byRecorder.Heights[i]); d > 0.3 {
			t.Errorf("string %d: %.2f mm by the jig, %.2f mm by recordings", i+1, byJig.Heights[i], byRecorder.Heights[i])
		}
		if byJig.Level[i] == nil || byRecorder.Level[i] != nil {
			t.Errorf("string %d: level %v by the jig, %v by recordings: millivolts are none there", i+1, byJig.Level[i], byRecorder.Level[i])
		}
	}
	if !strings.Contains(strings.Join(byRecorder.Warnings, " "), "levels in mV are none") || strings.Contains(strings.Join(byJig.Warnings, " "), "levels in mV are none") {
		t.Errorf("warnings: %q by recordings, %q by the jig", byRecorder.Warnings, byJig.Warnings)
	}
	// Each plan is as good by the other's model as that model says that its own may be.
	for k, dir := range []string{b.jig, b.rec} {
		other := plans[1-k]
		var heights []string
		for _, h := range other.Heights {
			heights = append(heights, fmt.Sprintf("%.3f", h))
		}
		write(t, filepath.Join(dir, "both.toml"), recordedOrder+"[[compare]]\nname = \"the other\"\nheights_mm = ["+strings.Join(heights, ", ")+"]\n")
		type compared struct {
			plannedBy
			Compare []plannedBy `json:"compare"`
		}
		got := decoded[compared](t, b.do(dir, 0, "plan", "both.toml", "--json"))
		for i, balance := range got.Compare[0].Balance {
			if off := math.Abs(balance - other.Balance[i]); off > plans[0].Spread+plans[1].Spread {
				t.Errorf("string %d: balance %.2f dB by one model, %.2f dB by the other; spreads %.2f and %.2f dB", i+1, balance, other.Balance[i], plans[0].Spread, plans[1].Spread)
			}
		}
	}
	// A pickup built to the plan is judged alike.
	built := make([]string, 6)
	for i, h := range byJig.Heights {
		built[i] = fmt.Sprintf("%.2f", h)
	}
	b.measure(4, record.ForCheck, recordedMount("B-1", strings.Join(built, ", "), "3, 3.1, 3.15, 3.15, 3.1, 3"), 8, 3e-4)
	var verdicts []judgedBy
	for _, dir := range []string{b.jig, b.rec} {
		verdicts = append(verdicts, decoded[judgedBy](t, b.do(dir, -1, "check", "--order", "order.toml", "--pickup", "B-1", "--json")))
	}
	for i, x := range verdicts[0].Strings {
		y := verdicts[1].Strings[i]
		if off := math.Abs(x.Deviation - y.Deviation); off > math.Hypot(x.Expanded, y.Expanded) {
			t.Errorf("string %d: deviation %.2f +- %.2f dB by the jig, %.2f +- %.2f by recordings", i+1, x.Deviation, x.Expanded, y.Deviation, y.Expanded)
		}
		if y.Expanded <= x.Expanded {
			t.Errorf("string %d: U is %.2f dB by hand and %.2f dB by the jig: a hand scatters more", i+1, y.Expanded, x.Expanded)
		}
		if x.Level == nil || y.Level != nil {
			t.Errorf("string %d: level %v by the jig, %v by recordings", i+1, x.Level, y.Level)
		}
	}
	if x, y := verdicts[0].Verdict, verdicts[1].Verdict; x != y && y != "cannot tell yet" {
		t.Errorf("verdict %q by the jig, %q by recordings", x, y)
	}
}

// shortRecording is a shop with a mount and a recording of two plucks of each string.
func shortRecording(t *testing.T) (dir string, file []byte) {
	t.Helper()
	dir = t.TempDir()
	mount := recordedMount("T-1", "0.2, 0.8, 1.6, 0.4, 1.0, 0.6", "3, 3, 3, 3, 3, 3")
	m, levels := mountedLevels(t, mount)
	file = recordBench(rand.New(rand.NewPCG(1, 2)), m, levels, 2, 0.05, 3e-4)
	write(t, filepath.Join(dir, "mount.toml"), mount)
	write(t, filepath.Join(dir, "a.wav"), string(file))
	return dir, file
}

func rowsOf(t *testing.T, dir string) (out []record.Reading) {
	t.Helper()
	f, err := os.Open(filepath.Join(dir, record.ReadingsFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for r, err := range record.Readings(f, f.Name()) {
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, r)
	}
	return out
}

// What was understood is said and drawn before anything is kept; the same recording
// twice, or as something else, adds nothing.
func TestCaptureRecording(t *testing.T) {
	dir, file := shortRecording(t)
	words := []string{"evenpole", "capture", "--recording", "a.wav", "--mount", "mount.toml", "--purpose", "model", "--excite", "travel"}
	status, said := runIn(dir, append(words, "--svg", "a.svg")...)
	for _, want := range []string{"WAV, 24 bits, 16000 Hz, channel 1 of 1", "12 plucks", "levels are relative: millivolts are none", "nothing kept yet: --yes files 12 takes", "string 6, 82.4 Hz"} {
		if status != 0 || !strings.Contains(said, want) {
			t.Errorf("status %d, and no %q in: %s", status, want, said)
		}
	}
	if len(rowsOf(t, dir)) > 0 {
		t.Error("takes were kept without --yes")
	}
	if svg, err := os.ReadFile(filepath.Join(dir, "a.svg")); err != nil || strings.Count(string(svg), `class="window"`) != 12 {
		t.Errorf("picture: %v", err)
	}
	for n, want := range []string{"session s001: 12 takes kept", "session s001 has this very recording already: nothing added"} {
		if status, said := runIn(dir, append(words, "--yes")...); status != 0 || !strings.Contains(said, want) {
			t.Errorf("time %d: status %d, and no %q in: %s", n+1, status, want, said)
		}
	}
	rows := rowsOf(t, dir)
	digest := sha256.Sum256(file)
	for i, r := range rows {
		if r.Jig != "recording" || r.Boot != fmt.Sprintf("%X", digest[:4]) || r.Seq != uint32(i+1) || r.String != i%6+1 || r.Window != 500 || r.Mode != record.Pluck || r.Status != record.OK ||
			r.Excite != profiles.Travel || !(r.Quiet > 0 && r.Quiet < r.RMS/10) || !strings.Contains(r.Note, "thousandths of full scale") || r.Take != i/6+1 {
			t.Errorf("row %d: got %+v", i+1, r)
		}
	}
	if len(rows) != 12 {
		t.Errorf("got %d rows", len(rows))
	}
	again := strings.Split(strings.Join(words, " ")+" --yes --recorder desk", " ")
	if status, said := runIn(dir, again...); status != 2 || !strings.Contains(said, "was filed before, in session s001, as of a recorder without a name") {
		t.Errorf("as another recorder's: status %d, %s", status, said)
	}
	if status, said := runIn(dir, "evenpole", "record", "verify"); status != 0 {
		t.Errorf("verify: status %d, %s", status, said)
	}
}

// A recording that was filed as plucked otherwise, or of another recorder, is filed anew once
// its takes were taken back, as often as that is; takes that were taken back one by one stay so.
func TestRecordingIsFiledAnewWhenTakenBack(t *testing.T) {
	dir, _ := shortRecording(t)
	words := func(more string) []string {
		return strings.Fields("evenpole capture --recording a.wav --mount mount.toml --purpose model --yes " + more)
	}
	for _, c := range []struct {
		words []string
		want  string
	}{
		{words("--excite travel"), "session s001: 12 takes kept"},
		{words("--excite force"), "this very recording was filed before, in session s001, as plucked by travel"},
		{strings.Fields("evenpole record retract --session s001"), "taken back 12 readings"},
		{words("--excite force"), "session s002: 12 takes kept"},
		{words("--excite force"), "session s002 has this very recording already: nothing added"},
		{strings.Fields("evenpole record retract --session s002"), "taken back 12 readings"},
		{words("--excite force --recorder desk"), "session s003: 12 takes kept"},
		{strings.Fields("evenpole record retract --row 50"), "taken back 1 reading"},
		{words("--excite force --recorder desk"), "session s003 has this very recording already: nothing added"},
		{strings.Fields("evenpole record sessions"), " 0 +12 +0 +- +taken back"},
		{strings.Fields("evenpole record show s003"), "11 good takes"},
		{strings.Fields("evenpole record verify"), "no faults"},
	} {
		if _, said := runIn(dir, c.words...); !regexp.MustCompile(c.want).MatchString(said) {
			t.Errorf("%s: no %q in: %s", c.words, c.want, said)
		}
	}
}

// Recordings of a recorder that has a name go on with one session; what comes through a
// pipe is filed by its digest, too, and --json says all of it.
func TestCaptureRecordingsGoOn(t *testing.T) {
	dir, file := shortRecording(t)
	words := []string{"capture", "--mount", "mount.toml", "--purpose", "model", "--excite", "force", "--recorder", "desk", "--yes", "--json"}
	piped := func(file []byte, more ...string) map[string]any {
		t.Helper()
		cmd := exec.Command("evenpole", append(append(words, "--recording", "-"), more...)...)
		cmd.Dir, cmd.Stdin = dir, bytes.NewReader(file)
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("%v: %s", err, err.(*exec.ExitError).Stderr)
		}
		return decoded[map[string]any](t, string(out))
	}
	other := bytes.Clone(file)
	other[len(other)-1] ^= 1
	first, second, third, last := piped(file), piped(other), piped(file), piped(append(bytes.Clone(other), 0), "--again")
	if first["session"] != "s001" || first["jig"] != "recording-desk" || first["kept"] != 12.0 || first["already_complete"] != false || first["wanted_takes"].(float64) < 2 {
		t.Errorf("first: %v", first)
	}
	if second["session"] != "s001" || second["kept"] != 12.0 || third["already_complete"] != true || third["kept"] != 0.0 || last["session"] != "s002" {
		t.Errorf("then: %v, %v, %v", second, third, last)
	}
}

// What cannot be listened to is refused, with nothing kept.
func TestRecordingRefused(t *testing.T) {
	dir, file := shortRecording(t)
	write(t, filepath.Join(dir, "cut.wav"), string(file[:30]))
	write(t, filepath.Join(dir, "silence.wav"), string(soundtest.WAV(make([]float64, 16000), 16000, 16, 1)))
	write(t, filepath.Join(dir, "empty.wav"), string(soundtest.WAV(nil, 16000, 16, 1)))
	write(t, filepath.Join(dir, "nameless.toml"), strings.Replace(recordedMount("T-1", "0.2", "3"), `set = "light plain-third 10-46"`, `string = [{gauge_mm = 0.25, wrap = "plain"}]`, 1))
	usual := "--recording a.wav --mount mount.toml --purpose model --excite travel"
	for _, c := range []struct{ words, want string }{
		{"--recording a.wav --mount mount.toml --purpose model", "excite: how the strings were plucked: expected travel or force, got \"\""},
		{usual + " --channel 2", "a.wav: expected a channel from 1 to 1, got 2"},
		{usual + " --port x", "[port recording] were all set"},
		{usual + " --string 7", "string: expected 1 to 6, got 7"},
		{"--recording cut.wav --mount mount.toml --purpose model --excite travel", "cut.wav: byte 30: expected 16 bytes of the format, got 10 and the end of the file"},
		{"--recording mount.toml --mount mount.toml --purpose model --excite travel", "mount.toml: byte 0: expected a WAV or FLAC recording, got \"pick\""},
		{"--recording silence.wav --mount mount.toml --purpose model --excite travel --yes", "silence.wav: no pluck was heard in 1s of sound"},
		{"--recording empty.wav --mount mount.toml --purpose model --excite travel --svg empty.svg --yes", "empty.wav: no pluck was heard in 0s of sound"},
		{"--recording a.wav --mount nameless.toml --purpose model --excite travel", "string 1: its note, for a recording tells strings by their pitch"},
		{"--port x --mount mount.toml --purpose model --yes", "yes: it says something of a recording"},
	} {
		status, said := runIn(dir, append([]string{"evenpole", "capture"}, strings.Fields(c.words)...)...)
		if status != 2 || !strings.Contains(said, c.want) {
			t.Errorf("%s: status %d, and no %q in: %s", c.words, status, c.want, said)
		}
	}
	if len(rowsOf(t, dir)) > 0 {
		t.Error("takes were kept")
	}
}

// A recorder that was calibrated has true levels, by a tone of known level that it recorded.
func TestCalibrateRecorder(t *testing.T) {
	b := newBothShops(t)
	const gain = 4e-4 // 1/mV
	tone := make([]float64, 5*recordedRate)
	for i := range tone {
		tone[i] = gain * 50 * math.Sqrt2 * math.Sin(2*math.Pi*500*float64(i)/recordedRate)
	}
	write(t, filepath.Join(b.rec, "tone.wav"), string(soundtest.WAV(tone, recordedRate, 24, 1)))
	mount := recordedMount("T-1", "0.2, 0.8, 1.6, 0.4, 1.0, 0.6", "3, 3, 3, 3, 3, 3")
	b.do(b.rec, 0, "calibrate", "--shop", ".", "--jig", "recording", "--recording", "tone.wav", "--source-mv", "50", "--source-u", "0.2", "--from", "2020-01-01")
	b.measure(1, record.ForCheck, mount, 3, gain)
	_, levels := mountedLevels(t, mount)
	v := decoded[judgedBy](t, b.do(b.rec, -1, "check", "--order", "order.toml", "--pickup", "T-1", "--json"))
	for i, s := range v.Strings {
		if s.Level == nil || math.Abs(math.Log(*s.Level/levels[i])) > 0.2 { // three takes by hand
			t.Errorf("string %d: %v mV, truly %.1f", i+1, s.Level, levels[i])
		}
	}
}

// What a recorder whose calibration is known measures is filed in mV, and says so. All takes
// of a recording are: it began before the calibration was kept, as files are read faster than
// they play. Without one, takes are in thousandths of full scale, and no list calls them mV.
func TestCalibratedRecordingIsFiledInMillivolts(t *testing.T) {
	raw, file := shortRecording(t)
	dir := t.TempDir()
	for name, text := range map[string]string{"a.wav": string(file), "order.toml": recordedOrder, "mount.toml": recordedMount("T-1", "0.2, 0.8, 1.6, 0.4, 1.0, 0.6", "3, 3, 3, 3, 3, 3")} {
		write(t, filepath.Join(dir, name), text)
	}
	b := &bothShops{t: t}
	b.do(dir, 0, "calibrate", "--shop", ".", "--jig", "recording", "--source-mv", "50", "--source-u", "0.1", "--reading-mv", "200,200,200")
	words := []string{"capture", "--recording", "a.wav", "--mount", "mount.toml", "--purpose", "check", "--excite", "travel", "--yes"}
	if said := b.do(raw, 0, words...); !strings.Contains(said, "levels are relative: millivolts are none") {
		t.Errorf("without a calibration: %s", said)
	}
	if said := b.do(dir, 0, words...); !strings.Contains(said, "levels are in mV, as recorder \"recording\" was calibrated on 20") || strings.Contains(said, "levels are relative") {
		t.Errorf("with one: %s", said)
	}
	was, is := rowsOf(t, raw), rowsOf(t, dir)
	if len(is) != 12 || len(was) != 12 {
		t.Fatalf("%d and %d rows", len(was), len(is))
	}
	for i, r := range is {
		if math.Abs(r.RMS-was[i].RMS/4) > 0.001 || math.Abs(r.Peak-was[i].Peak/4) > 0.001 || math.Abs(r.Quiet-was[i].Quiet/4) > 0.001 || !strings.Contains(r.Note, "level in mV") || strings.Contains(r.Note, "full scale") {
			t.Errorf("row %d: %+v, without a calibration %+v", i+1, r, was[i])
		}
	}
	v := decoded[judgedBy](t, b.do(dir, -1, "check", "--order", "order.toml", "--pickup", "T-1", "--json"))
	for i, s := range v.Strings {
		mean := math.Exp((math.Log(is[i].RMS) + math.Log(is[i+6].RMS)) / 2)
		if s.Level == nil || math.Abs(*s.Level-mean) > 0.01*mean {
			t.Errorf("string %d: judged at %v mV, filed at %.2f mV", i+1, s.Level, mean)
		}
	}
	type listed struct {
		Pickups []struct {
			Level *float64 `json:"level_mv"`
		} `json:"pickups"`
	}
	if l := decoded[listed](t, b.do(raw, 0, "record", "list", "--json")); len(l.Pickups) != 1 || l.Pickups[0].Level != nil {
		t.Errorf("listed without a calibration: %+v", l)
	}
	if l := decoded[listed](t, b.do(dir, 0, "record", "list", "--json")); len(l.Pickups) != 1 || l.Pickups[0].Level == nil {
		t.Errorf("listed with one: %+v", l)
	}
}

// A session has levels of one unit: what a recorder with a name files after its calibration
// goes into a session of its own, and what was filed before is not gone on with.
func TestCalibrationBeginsASession(t *testing.T) {
	dir, file := shortRecording(t)
	b := &bothShops{t: t}
	for i := range 3 {
		other := bytes.Clone(file)
		other[len(other)-1] ^= byte(i)
		write(t, filepath.Join(dir, fmt.Sprintf("%d.wav", i)), string(other))
	}
	file1 := func(i int) {
		b.do(dir, 0, "capture", "--recording", fmt.Sprintf("%d.wav", i), "--mount", "mount.toml", "--purpose", "model", "--excite", "travel", "--recorder", "desk", "--yes")
	}
	file1(0)
	b.do(dir, 0, "calibrate", "--shop", ".", "--jig", "recording-desk", "--source-mv", "50", "--source-u", "0.1", "--reading-mv", "200,200,200")
	file1(1)
	file1(2)
	file1(0) // once more: it stands in the record as it was filed
	counts := map[string]int{}
	for _, r := range rowsOf(t, dir) {
		counts[fmt.Sprintf("%s relative %v", r.Session, r.Relative())]++
	}
	if want := map[string]int{"s001 relative true": 12, "s002 relative false": 24}; !maps.Equal(counts, want) {
		t.Errorf("got %v, want %v", counts, want)
	}
}

// writeRecordings writes the recordings of the examples into the folder of a shop: plucks of
// what a mount says, and a tone.
func writeRecordings(t *testing.T, mount string) {
	t.Helper()
	lib, err := profiles.LoadLibrary(".")
	if err != nil {
		t.Fatal(err)
	}
	m, err := profiles.ReadMount(mount, lib)
	if err != nil {
		t.Fatal(err)
	}
	levels := slices.Repeat([]float64{50}, len(m.Strings))
	write(t, "T-1.wav", string(recordBench(rand.New(rand.NewPCG(1, 2)), m, levels, 2, 0.05, 1e-3)))
	tone := make([]float64, 4*recordedRate)
	for i := range tone {
		tone[i] = 0.02 * math.Sin(2*math.Pi*500*float64(i)/recordedRate)
	}
	write(t, "tone.wav", string(soundtest.WAV(tone, recordedRate, 24, 1)))
}
