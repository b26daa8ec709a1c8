package sim

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"evenpole/jig"
)

// desk is a jig without a port and without real time.
type desk struct {
	*testing.T
	*Jig
}

func newDesk(t *testing.T, cfg Config, m Mounted) *desk {
	t.Helper()
	if cfg.Scatter == nil {
		cfg.Scatter = ideal
	}
	j := New(cfg)
	j.Mount(m)
	j.served, j.decoder = true, jig.NewDecoder()
	j.powerUp()
	return &desk{t, j}
}

// said returns the bodies of the lines since the last call.
func (d *desk) said() []string {
	var all []string
	for line := range strings.Lines(string(d.out)) {
		body, _, _ := strings.Cut(line, "*")
		all = append(all, body)
	}
	d.out = nil
	return all
}

// ask sends command bodies and returns what is said at once.
func (d *desk) ask(bodies ...string) []string {
	for _, b := range bodies {
		d.decode(fmt.Appendf(nil, "%s*%08X\n", b, jig.CRC([]byte(b))))
	}
	return d.said()
}

// wait lets time pass and returns what is said but for the status lines.
func (d *desk) wait(t time.Duration) []string {
	d.step(d.now + t)
	return slices.DeleteFunc(d.said(), func(s string) bool { return strings.HasPrefix(s, "S,") })
}

// want compares lines; a line that ends in * stands for all that start so.
func (d *desk) want(got []string, want ...string) {
	d.Helper()
	same := len(got) == len(want)
	for i := 0; same && i < len(got); i++ {
		start, prefix := strings.CutSuffix(want[i], "*")
		same = got[i] == want[i] || prefix && strings.HasPrefix(got[i], start)
	}
	if !same {
		d.Errorf("got\n\t%s\nwant\n\t%s", strings.Join(got, "\n\t"), strings.Join(want, "\n\t"))
	}
}

const bootA = "4D1F00C3"

func TestConversation(t *testing.T) {
	d := newDesk(t, Config{ID: "bench-2", Boot: 0x4D1F00C3, Firmware: "0.9"}, flat(set, 3))
	d.want(d.said(), "I,1,bench-2,4D1F00C3,0.9,6,2000000,travel")
	d.step(2500 * time.Millisecond)
	d.want(d.said(), "S,4D1F00C3,0,1000", "S,4D1F00C3,0,2000")
	d.want(d.ask("C,7,QUIET,1,2", "C,8,PLUCK,6,1", "C,9,IDENT"),
		"I,1,bench-2,4D1F00C3,0.9,6,2000000,travel", "A,9")
	d.want(d.wait(time.Minute),
		"R,4D1F00C3,1,4000,1,1,Q,0,0,0,500,0", "R,4D1F00C3,2,5500,1,2,Q,0,0,0,500,0", "A,7",
		"R,4D1F00C3,3,9500,6,1,P,*", "A,8")
	d.step(d.now + 600*time.Millisecond)
	d.want(d.said(), "S,4D1F00C3,3,63000")
}

func TestRefusals(t *testing.T) {
	d := newDesk(t, Config{Strings: 7}, flat(set, 3))
	d.said()
	d.want(d.ask("C,1,DANCE,1", "C,2,PLUCK,1", "C,3,PLUCK,8,1", "C,4,PLUCK,7,1", "C,5,DRIVE,1,200000,1",
		"C,6,FIELD,7,1", "C,7,QUIET,1,0", "C,8,PLUCK,1,1,1"),
		"E,1,1,unknown command", "E,2,2,bad argument of PLUCK", "E,3,2,string 8 of 7", "E,4,3,no string 7 is mounted",
		"E,5,3,no exciter", "E,6,2,position 7 of 6", "E,7,2,bad argument of QUIET", "E,8,2,bad argument of PLUCK")
	d.want(d.ask("C,7,QUIET,1,0"), "E,7,2,bad argument of QUIET")
	if len(d.Log()) != 0 {
		t.Errorf("%d readings of refused commands", len(d.Log()))
	}
	driven := newDesk(t, Config{Excite: jig.Drive}, Mounted{})
	driven.said()
	driven.want(driven.ask("C,1,PLUCK,1,1", "C,2,FIELD,1,1", "C,3,DRIVE,2,200000,1"),
		"E,1,3,no plucker", "E,2,3,nothing under the probe", "E,3,3,no string 2 is mounted")
}

func TestDamagedCommandsGetNoAnswer(t *testing.T) {
	d := newDesk(t, Config{}, flat(set, 3))
	d.said()
	d.decode([]byte("C,1,PLUCK,1,1*00000000\nC,2,PLUCK,1,1\nS,00000000,1,1*6D5CA6D2\n"))
	d.want(d.wait(10 * time.Second))
}

func TestDriveAndField(t *testing.T) {
	d := newDesk(t, Config{Excite: jig.Drive, Boot: 1}, flat(set, 3))
	d.said()
	d.ask("C,1,DRIVE,2,246940,2", "C,2,FIELD,3,1")
	d.want(d.wait(10*time.Second),
		"R,00000001,1,2000,2,1,D,*", "R,00000001,2,4000,2,2,D,*", "A,1",
		fmt.Sprintf("F,00000001,3,8000,3,1,%.0f", d.bench.fields[2]*1e6), "A,2")
	if x := d.Log()[0]; x.FreqMHz != 246940 || x.Mode != jig.Driven {
		t.Errorf("%+v", x)
	}
}

func TestQueueAndStop(t *testing.T) {
	d := newDesk(t, Config{}, flat(set, 3))
	d.said()
	for id := 1; id <= 5; id++ {
		d.want(d.ask(fmt.Sprintf("C,%d,QUIET,1,1", id)))
	}
	d.want(d.ask("C,6,QUIET,1,1"), "E,6,6,*")
	d.want(d.wait(1600*time.Millisecond), "R,*", "A,1")
	d.want(d.ask("C,6,QUIET,1,1")) // a refusal for want of room is not remembered
	d.want(d.ask("C,7,STOP"),
		"E,2,5,stopped", "E,3,5,stopped", "E,4,5,stopped", "E,5,5,stopped", "E,6,5,stopped", "A,7")
	d.want(d.ask("C,7,STOP"), "A,7") // whatever its id
	d.want(d.wait(time.Minute))
}

func TestIDs(t *testing.T) {
	d := newDesk(t, Config{}, flat(set, 3))
	d.said()
	d.want(d.ask("C,1,QUIET,1,1", "C,1,QUIET,1,1")) // runs already
	d.want(d.wait(time.Minute), "R,*", "A,1")
	d.want(d.ask("C,1,QUIET,1,1"), "A,1") // is done already
	d.want(d.wait(time.Minute))
	d.ask("C,1,IDENT") // forgets it, and acts whatever its id
	d.want(d.ask("C,2,IDENT"), "I,*", "A,2")
	d.want(d.ask("C,1,QUIET,1,1"))
	d.want(d.wait(time.Minute), "R,*", "A,1")
	if n := len(d.Log()); n != 2 {
		t.Errorf("%d readings, want 2", n)
	}
}

func TestResend(t *testing.T) {
	d := newDesk(t, Config{Boot: 0x4D1F00C3}, flat(set, 3))
	d.ask("C,1,PLUCK,1,200", "C,2,FIELD,1,100")
	sent := d.wait(time.Hour)
	at := func(seq int) string { // the answers A,1 and A,2 follow 200 and 300
		return sent[seq-1+(seq-1)/200]
	}
	d.want(d.ask("C,3,RESEND,"+bootA+",199,202"), at(199), at(200), at(201), at(202), "A,3")
	d.want(d.ask("C,4,RESEND,"+bootA+",44,46"), at(45), at(46), "E,4,3,44 is gone")
	d.want(d.ask("C,5,RESEND,"+bootA+",300,302"), at(300), "E,5,3,301 is gone")
	d.want(d.ask("C,6,RESEND,00000000,299,300"), "E,6,3,299 is gone")
	d.want(d.ask("C,3,RESEND,"+bootA+",199,202"), "A,3") // an old id gets its old answer
	if got := d.ask("C,7,RESEND," + bootA + ",45,300"); len(got) != memorySize+1 || got[memorySize] != "A,7" {
		t.Errorf("%d lines, last %q", len(got), got[len(got)-1])
	}
}

func TestResendBetweenTakes(t *testing.T) {
	d := newDesk(t, Config{Boot: 0x4D1F00C3}, flat(set, 3))
	d.ask("C,1,PLUCK,1,2", "C,2,PLUCK,2,1")
	first := d.wait(5 * time.Second)
	d.want(d.ask("C,3,RESEND,"+bootA+",1,1"), first[0], "A,3")
	d.want(d.wait(time.Minute), "R,*", "A,1", "R,*", "A,2")
}

func TestSequenceWraps(t *testing.T) {
	d := newDesk(t, Config{Boot: 0x4D1F00C3, FirstSeq: 4294967295}, flat(set, 3))
	d.said()
	d.ask("C,1,PLUCK,1,3")
	sent := d.wait(time.Minute)
	d.want(sent, "R,4D1F00C3,4294967295,*", "R,4D1F00C3,0,*", "R,4D1F00C3,1,*", "A,1")
	d.want(d.ask("C,2,RESEND,"+bootA+",4294967295,1"), sent[0], sent[1], sent[2], "A,2")
	d.want(d.ask("C,3,RESEND,"+bootA+",4294967294,0"), sent[0], sent[1], "E,3,3,4294967294 is gone")
}

func TestRestart(t *testing.T) {
	d := newDesk(t, Config{Boot: 0x4D1F00C3, FirstSeq: 9, Faults: Faults{RestartAfter: 2}}, flat(set, 3))
	d.ask("C,1,PLUCK,1,5", "C,2,PLUCK,2,1")
	d.want(d.wait(time.Minute), "R,4D1F00C3,9,*", "R,4D1F00C3,10,*", "I,1,sim-1,*")
	d.want(d.ask("C,3,RESEND,"+bootA+",9,10"), "E,3,3,9 is gone")
	d.ask("C,1,PLUCK,1,1") // forgotten too
	got := d.wait(time.Minute)
	d.want(got, "R,*", "A,1")
	x := d.Log()[2]
	if x.Seq != 1 || x.Boot == 0x4D1F00C3 || !strings.HasPrefix(got[0], "R,"+x.Boot.String()+",1,") {
		t.Errorf("after the restart: %+v", x)
	}
	if y := d.Log()[1]; y.Seq != 10 || y.Boot != 0x4D1F00C3 {
		t.Errorf("before the restart: %+v", y)
	}
}

func TestJam(t *testing.T) {
	d := newDesk(t, Config{Faults: Faults{JamAfter: 2}}, flat(set, 3))
	d.said()
	d.ask("C,1,PLUCK,1,5", "C,2,PLUCK,1,1")
	d.want(d.wait(time.Minute), "R,*", "R,*", "E,1,4,plucker jammed", "R,*", "A,2")
}

func TestCutInMidLine(t *testing.T) {
	d := newDesk(t, Config{Boot: 0x4D1F00C3, Faults: Faults{CutAfter: 1}}, flat(set, 3))
	d.said()
	d.ask("C,1,PLUCK,1,2")
	got := d.wait(time.Minute)
	if len(got) != 1 || !strings.HasPrefix(got[0], "R,4D1F00C3,1,") || !strings.Contains(got[0], "I,1,sim-1,") {
		t.Errorf("got %q, want half a reading run together with an I line", got)
	}
	if n := len(d.Log()); n != 1 {
		t.Errorf("%d readings made, want 1", n)
	}
}

func TestMute(t *testing.T) {
	d := newDesk(t, Config{Faults: Faults{MuteAfter: 1, Mute: 10 * time.Second}}, flat(set, 3))
	d.said()
	d.ask("C,1,PLUCK,1,4")
	d.want(d.wait(5*time.Second), "R,*")
	d.want(d.ask("C,2,IDENT"))
	d.want(d.wait(time.Minute), "R,*", "A,1") // the fourth: the second and third went unheard
	if n := len(d.Log()); n != 4 {
		t.Errorf("%d readings made, want 4", n)
	}
	d = newDesk(t, Config{Faults: Faults{MuteAfter: 1}}, flat(set, 3))
	d.said()
	d.ask("C,1,PLUCK,1,2")
	d.want(d.wait(time.Hour), "R,*")
}

func TestAnswersLateAndOld(t *testing.T) {
	d := newDesk(t, Config{Faults: Faults{SlowAnswer: 3 * time.Second}}, flat(set, 3))
	d.said()
	d.want(d.ask("C,1,STOP", "C,2,PLUCK,9,1"))
	d.want(d.wait(2 * time.Second))
	d.want(d.wait(2*time.Second), "A,1", "E,2,2,*")
	d = newDesk(t, Config{Faults: Faults{OldAnswer: 1}}, flat(set, 3))
	d.said()
	d.want(d.ask("C,1,STOP", "C,2,STOP", "C,3,STOP"), "A,1", "A,1", "A,2", "A,2", "A,3")
}

func TestNoResend(t *testing.T) {
	d := newDesk(t, Config{Boot: 0x4D1F00C3, Faults: Faults{NoResend: true}}, flat(set, 3))
	d.said()
	d.ask("C,1,PLUCK,1,1")
	d.wait(time.Minute)
	d.want(d.ask("C,2,RESEND,"+bootA+",1,1"), "E,2,3,1 is gone")
}

func TestClockWraps(t *testing.T) {
	d := newDesk(t, Config{Boot: 0x4D1F00C3, Clock: 1<<32 - 1500}, flat(set, 3))
	d.said()
	d.step(2 * time.Second)
	d.want(d.said(), "S,4D1F00C3,0,4294966796", "S,4D1F00C3,0,500")
}

// A command whose string was taken off meanwhile cannot go on.
func TestMountMeanwhile(t *testing.T) {
	d := newDesk(t, Config{Strings: 6}, flat(set, 3))
	d.said()
	d.ask("C,1,PLUCK,6,3", "C,2,PLUCK,1,1", "C,3,FIELD,6,1")
	d.want(d.wait(5*time.Second), "R,*")
	d.Mount(flat(set[:2], 3))
	d.want(d.wait(time.Minute), "E,1,3,no string 6 is mounted", "R,*", "A,2", "E,3,2,position 6 of 2")
}

// A new jig has no strings to say how many it can pluck.
func TestIdentCountsStrings(t *testing.T) {
	for _, c := range []struct {
		set, mounted, want int
	}{{0, 0, 6}, {0, 7, 7}, {6, 7, 6}, {12, 0, 12}} {
		d := newDesk(t, Config{Strings: c.set}, flat(row(c.mounted, set[0]), 3))
		if got := d.strings(); got != c.want {
			t.Errorf("set %d, mounted %d: got %d, want %d", c.set, c.mounted, got, c.want)
		}
	}
}

// The readings follow from seed, mounts and commands; not from when those come.
func TestDeterminism(t *testing.T) {
	run := func(seed uint64, pause time.Duration) []jig.Reading {
		ordinary := Ordinary()
		d := newDesk(t, Config{Seed: seed, Scatter: &ordinary}, flat(set, 3))
		for id := range 12 {
			d.wait(pause)
			d.ask(fmt.Sprintf("C,%d,QUIET,%d,1", 100+id, id%6+1), fmt.Sprintf("C,%d,PLUCK,%d,3", 200+id, id%6+1))
			d.wait(time.Minute)
		}
		all := d.Log()
		for i := range all {
			all[i].Millis = 0
		}
		return all
	}
	a := run(1, 0)
	if b := run(1, 777*time.Millisecond); len(a) != 48 || !slices.Equal(a, b) {
		t.Errorf("two runs of the same differ:\n%v\n%v", a, b)
	}
	other := run(2, 0)
	if a[1].RMSUV == other[1].RMSUV || a[0].Boot == other[0].Boot {
		t.Error("another seed gave the same")
	}
}
