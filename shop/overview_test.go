package shop

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/capture/record/recordtest"
)

// overviewShop has a pickup with two sessions, of which one is open, another that was
// checked, loose magnets, and three orders.
func overviewShop(t *testing.T) *Shop {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{
		"readings.csv": `time,session,purpose,jig,boot,seq,pickup,batch,string,string_set,core_mm,pole_height_mm,string_height_mm,mode,take,rms_mv,quiet_mv,status,note
2025-03-03T08:00:01.000Z,s001,model,j,0000000A,1,P,b,1,light,0.254,0.5,3,P,1,10,0,ok,
2025-03-03T08:00:02.000Z,s001,model,j,0000000A,2,P,b,1,light,0.254,0.5,3,P,2,11,0,ok,
2025-03-03T08:00:03.000Z,s001,model,j,0000000A,3,P,b,2,light,0.33,0.7,3,P,1,20,0,ok,
2025-03-04T08:00:01.000Z,s002,model,j,0000000A,5,P,b,1,light,0.254,0.5,3,P,1,10,0,ok,
2025-03-05T08:00:01.000Z,s003,check,j,0000000A,6,Q,b,1,light,0.254,0.5,3,P,1,10,0,ok,
2025-03-05T09:00:00.000Z,s001,model,j,0000000A,3,P,b,2,light,0.33,0.7,3,P,1,20,0,retracted,cable loose
`,
		"fields.csv": `time,session,jig,boot,seq,batch,magnet,pickup,string,position,take,field_mt,probe_gap_mm,status,note
2025-03-06T08:00:00.000Z,s004,j,0000000A,7,b,b/1,,,1,1,110,0.5,ok,
`,
		"sessions.csv": `time,session,purpose,kind,jig,boot,after_seq,pickup,mount,operator
2025-03-03T08:00:00Z,s001,model,readings,j,0000000A,0,P,P-1.toml,Bo
2025-03-03T08:09:00Z,,,,j,0000000A,4,,,
2025-03-04T08:00:00Z,s002,model,readings,j,0000000A,4,P,P-2.toml,Ida
2025-03-05T08:00:00Z,s003,check,readings,j,0000000A,5,Q,Q-1.toml,Ida
2025-03-05T08:09:00Z,,,,j,0000000A,6,,,
2025-03-06T08:00:00Z,s004,batch,fields,j,0000000A,6,,b-1.toml,
2025-03-06T08:09:00Z,,,,j,0000000A,7,,,
`,
		"certificates/0001.json": `{"certificate": 1, "pickup": "Q", "order": "A-1", "verdict": "out of tolerance"}`,
		"certificates/0002.json": `{"certificate": 2, "pickup": "Q", "order": "A-1", "verdict": "conforms", "session": "s003"}`,
		"certificates/0003.json": `{"certificate": 3, "pickup": "P", "order": "A-2", "verdict": "cannot tell yet", "names": {"customer": "Ida"}}`,
		"orders/broken.toml":     "id = \"A-3\"\nid = 4\n",
	} {
		file := filepath.Join(dir, name)
		if err := errors.Join(os.MkdirAll(filepath.Dir(file), 0o777), os.WriteFile(file, []byte(text), 0o666)); err != nil {
			t.Fatal(err)
		}
	}
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestOverview(t *testing.T) {
	o, err := overviewShop(t).Overview(t.Context())
	if err != nil || len(o.Sessions) != 4 || len(o.Pickups) != 2 || len(o.Orders) != 3 {
		t.Fatalf("%+v, %v", o, err)
	}
	for i, want := range []struct {
		session, operator string
		open              bool
		fields            int
	}{{"s001", "Bo", false, 0}, {"s002", "Ida", true, 0}, {"s003", "Ida", false, 0}, {"s004", "", false, 1}} {
		if l := o.Sessions[i]; l.Session != want.session || l.Operator != want.operator || l.Open != want.open || l.Fields != want.fields {
			t.Errorf("session %d: %+v", i+1, l)
		}
	}
	if l := o.Sessions[3]; l.Purpose != "batch" || l.Batch != "b" {
		t.Errorf("loose magnets: %+v", l)
	}
	if p := o.Pickups[0]; p.Pickup != "Q" || !p.Shipped || p.Order != "A-1" || p.Certificate != 2 || len(p.Open) != 0 {
		t.Errorf("%+v", p)
	}
	if p := o.Pickups[1]; p.Pickup != "P" || p.Shipped || p.Session != "s002" || p.Verdict != "cannot tell yet" || !slices.Equal(p.Open, []string{"s002"}) || math.Abs(float64(p.Level)-10) > 1e-9 || p.Strings[0].Scatter.Known() {
		t.Errorf("%+v", p)
	}
	for i, want := range []OrderLine{{Order: "broken"}, {Order: "A-1", Pickup: "Q", Certificate: 2, Tried: 1}, {Order: "A-2", Customer: "Ida", Tried: 1}} {
		got := o.Orders[i]
		if (got.Problem != "") != (i == 0) {
			t.Errorf("order %s: problem %q", got.Order, got.Problem)
		}
		if got.Problem = ""; got != want {
			t.Errorf("got %+v, want %+v", got, want)
		}
	}
}

// A session that was left after its first string does not stand for a pickup of which there is
// a whole one.
func TestOverviewPrefersWholeSessions(t *testing.T) {
	s := overviewShop(t)
	text, err := os.ReadFile(s.ReadingsFile())
	if err != nil {
		t.Fatal(err)
	}
	whole, _, _ := strings.Cut(string(text), "2025-03-05T09:00:00.000Z") // string 2 of s001 is taken back there
	if err := os.WriteFile(s.ReadingsFile(), []byte(whole), 0o666); err != nil {
		t.Fatal(err)
	}
	o, err := s.Overview(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if p := o.Pickups[1]; p.Pickup != "P" || p.Session != "s001" || len(p.Strings) != 2 || p.Measured.Day() != 3 || !slices.Equal(p.Open, []string{"s002"}) {
		t.Errorf("%+v", p)
	}
}

// A driven session has another balance than a player hears: a plucked one stands for a pickup.
func TestOverviewPrefersPluckedSessions(t *testing.T) {
	s := overviewShop(t)
	text, err := os.ReadFile(s.ReadingsFile())
	if err != nil {
		t.Fatal(err)
	}
	driven := strings.Replace(string(text), "s002,model,j,0000000A,5,P,b,1,light,0.254,0.5,3,P,", "s002,model,j,0000000A,5,P,b,1,light,0.254,0.5,3,D,", 1)
	if err := os.WriteFile(s.ReadingsFile(), []byte(driven), 0o666); err != nil {
		t.Fatal(err)
	}
	o, err := s.Overview(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if p := o.Pickups[1]; p.Pickup != "P" || p.Session != "s001" {
		t.Errorf("%+v", p)
	}
}

// A pickup that its certificate passed is not told as that and no more, when it was captured
// for a check again, or when what was judged was taken back.
func TestOverviewSaysWhatCameAfterACertificate(t *testing.T) {
	const check = "2025-03-05T08:00:01.000Z,s003,check,j,0000000A,6,Q,b,1,light,0.254,0.5,3,P,1,10,0,"
	for _, c := range []struct{ certificate, rows, want string }{
		{`"session": "s003", "time": "2025-03-05T08:00:01Z"`, "", ""},
		{`"session": "s003", "time": "2025-03-05T08:00:01Z"`, strings.NewReplacer("08:00:01", "11:00:00", "A,6,", "A,8,", "s003", "s005").Replace(check) + "ok,\n", "captured for a check since: s005"},
		{`"session": "s003", "time": "2025-03-05T08:00:01Z"`, strings.NewReplacer("08:00:01", "11:00:00", "A,6,", "A,8,").Replace(check) + "ok,\n", "captured for a check since: s003"},
		{`"session": "s003", "time": "2025-03-05T08:00:01Z"`, strings.NewReplacer("08:00:01", "11:00:00", "A,6,", "A,8,", "check", "model", "s003", "s005").Replace(check) + "ok,\n" + strings.Replace(check, "08:00", "12:00", 1) + "retracted,\n",
			"session s003, which that judged, was taken back since"},
	} {
		s := overviewShop(t)
		for name, add := range map[string]string{"certificates/0002.json": "", "readings.csv": c.rows} {
			file := s.join(name)
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(file, []byte(strings.Replace(string(text), `"session": "s003"`, c.certificate, 1)+add), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		o, err := s.Overview(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if p := o.Pickups[0]; p.Pickup != "Q" || p.Certificate != 2 || p.Since != c.want {
			t.Errorf("%s of %s: since %q, want %q", p.Pickup, p.Session, p.Since, c.want)
		}
	}
}

// A shop is whole in a folder of any name, and its certificates and mounts are found there.
func TestShopInAFolderWithBrackets(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "Werk [alt] ä")
	if err := os.CopyFS(dir, os.DirFS(overviewShop(t).Dir())); err != nil {
		t.Fatal(err)
	}
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(os.Mkdir(s.join("mounts"), 0o777), os.WriteFile(s.join("mounts", "b-1.toml"), nil, 0o666)); err != nil {
		t.Fatal(err)
	}
	if all, err := s.Certificates(); err != nil || len(all) != 3 {
		t.Errorf("%d certificates, %v", len(all), err)
	}
	if files := s.mounts(); len(files) != 1 {
		t.Errorf("mounts %q", files)
	}
}

// The last capture is that of the record, whatever the files' times are: a copy of the shop on
// another machine has others. A mount that was amended is the one that it is filed with now.
func TestLastCapture(t *testing.T) {
	s := overviewShop(t)
	add := func(name, text string, age time.Duration) {
		t.Helper()
		file := s.join(name)
		was, _ := os.ReadFile(file)
		at := time.Now().Add(-age)
		if err := errors.Join(os.MkdirAll(filepath.Dir(file), 0o777), os.WriteFile(file, append(was, text...), 0o666), os.Chtimes(file, at, at)); err != nil {
			t.Fatal(err)
		}
	}
	wants := func(session, pickup string, open bool, mount string) {
		t.Helper()
		if c, err := s.LastCapture(); err != nil || c.Session != session || c.Pickup != pickup || c.Open != open || c.Mount != mount {
			t.Errorf("got %+v, %v; want session %s of %q, open %v, mount %q", c, err, session, pickup, open, mount)
		}
	}
	wants("s004", "", false, "")
	add("mounts/b-1.toml", "loose", time.Hour)
	add("mounts/P-1.toml", "older, and copied later", 0)
	wants("s004", "", false, "loose")
	add("sessions.csv", "2025-03-07T08:00:00Z,s002,model,readings,j,0000000A,7,P,P-2.toml,Ida\n", 0)
	wants("s002", "P", true, "")
	add("sessions.csv", "2025-03-08T08:00:00Z,s002,model,readings,,,0,P,P-1.toml,Ida\n", 0)
	wants("s002", "P", true, "older, and copied later")
	add("sessions.csv", "2025-03-09T08:00:00Z,s002,model,readings,,,0,P,../shop.toml,Ida\n", 0)
	wants("s002", "P", true, "")
}

func TestRecorded(t *testing.T) {
	s := overviewShop(t)
	r, err := s.Recorded(t.Context(), "P")
	if err != nil || r.Session != nil || len(r.Pickup.Sessions) != 2 || len(r.Pickup.Certificates) != 1 {
		t.Fatalf("%+v, %v", r, err)
	}
	x := r.Pickup.Sessions[0]
	if x.Mount != "P-1.toml" || !slices.Equal(x.Reasons, []string{"cable loose"}) || len(x.Levels) != 1 || x.Levels[0].Takes != 2 {
		t.Errorf("%+v", x)
	}
	if h := x.Levels[0]; math.Abs(float64(h.Level)-math.Sqrt(110)) > 1e-9 || math.Abs(float64(h.Scatter)-20*math.Log10(1.1)/math.Sqrt2) > 1e-9 || h.Balance != 0 {
		t.Errorf("%+v", h)
	}
	if r, err = s.Recorded(t.Context(), "s004"); err != nil || r.Pickup != nil || r.Session.Fields != 1 {
		t.Errorf("%+v, %v", r, err)
	}
	if _, err = s.Recorded(t.Context(), "s005"); !errors.Is(err, ErrUnknownID) || !errors.As(err, new(*InputError)) {
		t.Errorf("got %v", err)
	}
}

func TestMountsOf(t *testing.T) {
	s := overviewShop(t)
	got, err := s.MountsOf([]string{"s001", "import-x"})
	if err != nil || got["s001"].File != "" || filepath.Base(got["s001"].Copy) != "P-1.toml" || got["import-x"] != (MountedWith{}) {
		t.Errorf("%+v, %v", got, err)
	}
	if others, err := s.SameMount("s001"); err != nil || others != nil {
		t.Errorf("%v, %v", others, err)
	}
}

// A pickup's levels are the same whether all of the record is listed or it alone is shown,
// also where other pickups tell the pitch of its strings.
func TestRecordedAsListed(t *testing.T) {
	const text = `time,session,purpose,jig,boot,seq,pickup,string,string_set,core_mm,pole_height_mm,string_height_mm,mode,rms_mv,freq_hz,status
2025-03-03T08:00:01.000Z,s001,model,j,0000000A,1,P,1,light,0.254,0.5,3,P,10,329.6,ok
2025-03-03T08:00:02.000Z,s001,model,j,0000000A,2,P,2,light,0.33,0.5,3,P,11,246.9,ok
2025-03-03T09:00:03.000Z,s002,check,j,0000000A,3,Q,1,light,0.254,0.7,3,P,20,,ok
2025-03-03T09:00:04.000Z,s002,check,j,0000000A,4,Q,2,light,0.33,0.7,3,P,21,,ok
2025-03-03T09:00:05.000Z,s002,check,j,0000000A,5,Q,2,light,0.33,0.7,3,P,22,,ok
`
	s := shopOf(t, text)
	all, err := s.Pickups(t.Context())
	if err != nil || len(all) != 2 {
		t.Fatalf("%+v, %v", all, err)
	}
	for _, m := range all {
		for _, id := range []string{m.Pickup, m.Sessions[0].ID} {
			r, err := s.Recorded(t.Context(), id)
			if err != nil {
				t.Fatal(err)
			}
			x := r.Session
			if x == nil {
				x = &r.Pickup.Sessions[0]
			}
			if got, want := fmt.Sprintf("%+v", x.Levels), fmt.Sprintf("%+v", m.Sessions[0].Strings); got != want {
				t.Errorf("%s: %s\nlisted as %s", id, got, want)
			}
			if x.Levels[0].Freq != 329.6 {
				t.Errorf("%s: pitch %g", id, x.Levels[0].Freq)
			}
		}
	}
}

// Levels of a recorder are in no known unit, string by string and together.
func TestARecordersLevelIsNotInMV(t *testing.T) {
	s := overviewShop(t)
	text, err := os.ReadFile(s.ReadingsFile())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(s.ReadingsFile(), []byte(strings.NewReplacer(",j,", ",recording,", ",ok,\n", ",ok,"+record.RelativeNote+"\n").Replace(string(text))), 0o666); err != nil {
		t.Fatal(err)
	}
	o, err := s.Overview(t.Context())
	if err != nil || len(o.Pickups) != 2 {
		t.Fatalf("%+v, %v", o, err)
	}
	for _, p := range o.Pickups {
		if p.Level.Known() || p.Strings[0].Level.Known() {
			t.Errorf("%s: %g mV, string 1 %g mV", p.Pickup, float64(p.Level), float64(p.Strings[0].Level))
		}
	}
}

// Open orders are those that no pickup has met, and those that cannot be read; of many, the
// ones that were changed last.
func TestOpenOrders(t *testing.T) {
	s := overviewShop(t)
	text, err := os.ReadFile(recordtest.Path(t, "sample-shop", "orders", "A-001.toml"))
	if err != nil {
		t.Fatal(err)
	}
	long := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	for hour, name := range []string{"broken", "x", "w", "y", "met"} {
		file := s.join(ordersDir, name+tomlEnd)
		if name != "broken" {
			id := map[bool]string{true: `"A-1"`, false: `"B-` + name + `"`}[name == "met"] // of the certificate that conforms
			if err := os.WriteFile(file, []byte(strings.Replace(string(text), `"A-001"`, id, 1)), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		if err := os.Chtimes(file, long, long.Add(time.Duration(hour)*time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		most, older int
		want        []string
	}{{9, 0, []string{"broken", "w", "x", "y"}}, {4, 0, []string{"broken", "w", "x", "y"}}, {2, 2, []string{"w", "y"}}} {
		open, met, older, err := s.OpenOrders(c.most)
		var names []string
		for _, o := range open {
			names = append(names, o.Name)
		}
		if err != nil || !slices.Equal(names, c.want) || met != 1 || older != c.older {
			t.Errorf("at most %d: %q, %d met, %d older, %v", c.most, names, met, older, err)
		}
	}
}
