package shop

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evenpole/capture/record"
)

// pickupRecord has pickup P under two strings in three sessions: s001 under other strings,
// s002 as it was last, s003 taken back, and another pickup.
const pickupRecord = `time,session,jig,boot,seq,pickup,batch,string,string_set,core_mm,gauge_mm,pole_height_mm,string_height_mm,rms_mv,status
2026-03-01T08:00:00Z,s001,j,00000001,1,P,M-1,1,heavy,0.3,0.3,1.0,3,50,ok
2026-03-01T08:00:01Z,s001,j,00000001,2,P,M-1,2,heavy,0.5,1.2,1.0,3,50,ok
2026-03-03T08:00:00Z,s003,j,00000001,5,P,M-3,1,light,0.25,0.25,2.0,3,50,ok
2026-03-03T08:00:00Z,s003,j,00000001,5,P,M-3,1,light,0.25,0.25,2.0,3,50,retracted
2026-03-04T08:00:00Z,s004,j,00000001,6,Q,M-9,1,light,0.25,0.25,0.1,3,50,ok
2026-03-02T08:00:00Z,s002,j,00000001,3,P,M-2,1,light,0.254,0.254,1.0,3,50,ok
2026-03-02T08:00:01Z,s002,j,00000001,4,P,M-2,2,light,0.45,1.1,1.5,3,50,ok
`

func mountOf(batch, poles, heights, strings string) string {
	return fmt.Sprintf("pickup = \"P\"\nbatch = %q\n%spole_heights_mm = %s\nstring_heights_mm = [3.0, 3.0]\n%s", batch, poles, heights, strings)
}

const (
	lightStrings = "[[string]]\nnote = \"E4\"\ngauge_mm = 0.254\nwrap = \"plain\"\n[[string]]\nnote = \"E2\"\ngauge_mm = 1.1\ncore_mm = 0.45\nwrap = \"nickel\"\n"
	heavyStrings = "[[string]]\nnote = \"E4\"\ngauge_mm = 0.3\nwrap = \"plain\"\n[[string]]\nnote = \"E2\"\ngauge_mm = 1.2\ncore_mm = 0.5\nwrap = \"nickel\"\n"
	newStrings   = "[[string]]\nnote = \"E4\"\ngauge_mm = 0.28\nwrap = \"plain\"\n[[string]]\nnote = \"E2\"\ngauge_mm = 1.1\ncore_mm = 0.45\nwrap = \"nickel\"\n"
	rods         = "poles = \"rod\"\n"
	screws       = "poles = \"screw\"\n"
)

// What comes back under a pickup's id is compared with what counts of its last session.
func TestSamePickup(t *testing.T) {
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(s.ReadingsFile(), []byte(pickupRecord), 0o666); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		mount   string
		purpose record.Purpose
		want    string // "" where nothing is asked
	}{
		"as it was last":          {mountOf("M-2", rods, "[1.02, 1.48]", lightStrings), record.ForCheck, ""},
		"other heights":           {mountOf("M-2", rods, "[1.0, 1.53]", lightStrings), record.ForModel, `pole 2 at 1.53 mm, was at 1.50 mm in session s002`},
		"other heights of slugs":  {mountOf("M-2", "poles = \"slug\"\n", "[0.8, 1.8]", lightStrings), record.ForRepeat, `pole 1, 2 at 0.80, 1.80 mm, was at 1.00, 1.50 mm in session s002`},
		"of poles of no kind":     {mountOf("M-2", "", "[1.0, 1.8]", lightStrings), record.ForModel, `pole 2 at 1.80 mm, was at 1.50 mm`},
		"screws move":             {mountOf("M-2", screws, "[0.2, 2.4]", lightStrings), record.ForCheck, ""},
		"another batch":           {mountOf("M-1", screws, "[1.0, 1.5]", lightStrings), record.ForBatch, `batch "M-1", was "M-2" in session s002`},
		"strings for a model":     {mountOf("M-2", rods, "[1.0, 1.5]", newStrings), record.ForModel, ""},
		"new strings for a check": {mountOf("M-2", rods, "[1.0, 1.5]", newStrings), record.ForCheck, `string 1 of 0.280 mm on a core of 0.280 mm, was 0.254 mm on 0.254 mm in session s002`},
		"strings that it had":     {mountOf("M-2", rods, "[1.0, 1.5]", heavyStrings), record.ForCheck, ""},
		"another set":             {mountOf("M-2", rods, "[1.0, 1.5]", "set = \"two\"\n"), record.ForCheck, `strings "two", were "light" in session s002`},
		"fewer strings": {"pickup = \"P\"\nbatch = \"M-2\"\npole_heights_mm = [1.0]\nstring_heights_mm = [3.0]\n[[string]]\nnote = \"E4\"\ngauge_mm = 0.254\nwrap = \"plain\"\n",
			record.ForModel, `no string 2, which it had in session s002`},
		"another pickup": {strings.Replace(mountOf("M-7", rods, "[0.3, 0.3]", newStrings), `"P"`, `"R"`, 1), record.ForCheck, ""},
	} {
		if err := os.WriteFile(filepath.Join(s.Dir(), "strings.toml"), []byte("[[set]]\nname = \"two\"\n"+strings.ReplaceAll(newStrings, "[[string]]", "[[set.string]]")), 0o666); err != nil {
			t.Fatal(err)
		}
		m, err := s.ParseMount("m.toml", c.mount)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		err = s.SamePickup(m, c.purpose, record.OfReadings, false)
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: %v", name, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), `m.toml: pickup "P" is not as the record has it: `+c.want)):
			t.Errorf("%s: got %v, want %q", name, err, c.want)
		case c.want != "" && (!errors.As(err, new(*InputError)) || !errors.As(err, new(*OtherPickup))):
			t.Errorf("%s: %T", name, err)
		}
	}
}

// coilRecord has pickup P with two coils, whose signals add, in session s001, and D with one.
const coilRecord = `session,pickup,batch,string,core_mm,gauge_mm,pole_height_mm,string_height_mm,rms_mv,pole_height_2_mm,coil_2_gain
s001,P,M-2,1,0.254,0.254,1.0,3,50,0.5,0.7000
s001,P,M-2,2,0.45,1.1,1.5,3,50,0.9,0.7000
s002,D,M-2,1,0.254,0.254,1.0,3,50,,
s002,D,M-2,2,0.45,1.1,1.5,3,50,,
`

// Of a second coil the poles are compared, unless they are screws, and whether its signal
// adds; where the coils are along the strings is the jig's.
func TestSamePickupWithTwoCoils(t *testing.T) {
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(s.ReadingsFile(), []byte(coilRecord), 0o666); err != nil {
		t.Fatal(err)
	}
	coil := func(poles, heights, first, winding string) string {
		return mountOf("M-2", rods, "[1.0, 1.5]", lightStrings) + fmt.Sprintf("[[coil]]\n%spole_heights_mm = %s\nscale_length_mm = 628\nfirst_from_bridge_mm = %s\nfrom_bridge_mm = 36.5\npolarity = \"opposite\"\nwinding = %q\n", poles, heights, first, winding)
	}
	for name, c := range map[string]struct{ mount, want string }{
		"as it was":               {coil(rods, "[0.5, 0.9]", "55", "opposite"), ""},
		"elsewhere on the jig":    {coil(rods, "[0.5, 0.9]", "95", "opposite"), ""},
		"other heights":           {coil(rods, "[0.5, 0.8]", "55", "opposite"), "pole 2 of the second coil at 0.80 mm, was at 0.90 mm in session s001"},
		"of poles of no kind":     {coil("", "[0.7, 0.8]", "55", "opposite"), "pole 1, 2 of the second coil at 0.70, 0.80 mm, was at 0.50, 0.90 mm in session s001"},
		"screws move":             {coil(screws, "[0.1, 2.0]", "55", "opposite"), ""},
		"screws beside rods":      {strings.Replace(coil(screws, "[0.1, 2.0]", "55", "opposite"), "[1.0, 1.5]", "[1.0, 1.8]", 1), "pole 2 at 1.80 mm, was at 1.50 mm in session s001"},
		"turned round":            {coil(rods, "[0.5, 0.9]", "55", "same"), "the second coil's signal is subtracted, and was added in session s001"},
		"one coil":                {mountOf("M-2", rods, "[1.0, 1.5]", lightStrings), "one coil, and it had two in session s001"},
		"two coils where one was": {strings.Replace(coil(rods, "[0.5, 0.9]", "55", "opposite"), `"P"`, `"D"`, 1), "two coils, and it had one in session s002"},
	} {
		m, err := s.ParseMount("m.toml", c.mount)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		switch err := s.SamePickup(m, record.ForModel, record.OfReadings, false); {
		case c.want == "" && err != nil:
			t.Errorf("%s: %v", name, err)
		case c.want != "" && (err == nil || !strings.HasSuffix(err.Error(), " is not as the record has it: "+c.want)):
			t.Errorf("%s: got %v, want %q", name, err, c.want)
		}
	}
}

// A pickup of which only fields were read has a batch, too. No shop knows no pickup.
func TestSamePickupByFields(t *testing.T) {
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(s.fieldsFile(), []byte("session,pickup,batch,string,position,field_mt\ns001,P,M-1,1,1,90\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	m, err := s.ParseMount("m.toml", mountOf("M-2", rods, "[1.0, 1.5]", lightStrings))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.SamePickup(m, record.ForCheck, record.OfReadings, false); err == nil || !strings.Contains(err.Error(), `batch "M-2", was "M-1" in session s001`) {
		t.Errorf("got %v", err)
	}
	if err := (&Shop{}).SamePickup(m, record.ForCheck, record.OfReadings, false); err != nil {
		t.Errorf("no shop: %v", err)
	}
}
