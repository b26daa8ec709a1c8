package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
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

// bench is what is mounted, as the simulated jig's physics has it.
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
