package verify

import (
	"context"
	"errors"
	"io"
	"net"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"evenpole/jig"
	"evenpole/jig/jigtest"
)

// inBubble runs a verification of a jig whose end of the port serve has.
func inBubble(t *testing.T, opt Options, serve func(port io.ReadWriteCloser), look func(*testing.T, *Report)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		ours, theirs := net.Pipe()
		go serve(theirs)
		opt.Name, opt.FirstID = "test port", 1000
		run, err := Start(t.Context(), ours, opt)
		if err != nil {
			t.Fatal(err)
		}
		rep, err := run.Go(t.Context())
		if err != nil {
			t.Error(err)
		}
		run.Close()
		time.Sleep(2 * time.Second) // of the bubble: the jig notices
		if a, p := rep.Asked, rep.Planned; a.Plucks > p.Plucks || a.DriveWindows > p.DriveWindows || a.FieldTakes > p.FieldTakes {
			t.Errorf("asked for %+v, said %+v beforehand", a, p)
		}
		look(t, rep)
	})
}

// failures are the findings of a report that failed, for a test's message.
func failures(rep *Report) (text string) {
	for _, f := range rep.Findings {
		if f.Result == Fail {
			text += "\n\t" + f.Clause + ": expected " + f.Expected + "; came " + f.Came
		}
	}
	return text
}

// TestBrokenJigs: a jig that is broken in one way fails, and what fails is named.
func TestBrokenJigs(t *testing.T) {
	for slip, want := range map[string]string{
		"":              "",
		"crc":           "framing",
		"skip":          "numbering",
		"resendCounts":  "resend",
		"resendMS":      "resend-same",
		"resendBoot":    "resend-boot",
		"resendShort":   "resend",
		"goneText":      "resend-gone",
		"takeFromZero":  "quiet",
		"modeWrong":     "quiet",
		"twice":         "repeat-done",
		"busyKept":      "busy-forgotten",
		"smallQueue":    "queue",
		"endlessQueue":  "queue",
		"stopRunsOn":    "stop",
		"stopSilent":    "stop",
		"stopFirst":     "stop",
		"stopLate":      "stop-rest",
		"stopByID":      "stop-id",
		"noForget":      "ident-forgets",
		"identBusy":     "ident-full",
		"lastFirst":     "order",
		"noCheck":       "crc",
		"anyCase":       "crc-case",
		"longHeard":     "too-long",
		"deafAfterLong": "too-long-after",
		"deafAfterJunk": "garbage",
		"noCR":          "crlf",
		"unknownDone":   "unknown",
		"argumentDone":  "argument",
		"anyString":     "string",
		"noIDAnswer":    "no-id",
		"smallStore":    "store",
		"noStatus":      "status",
		"busyStatus":    "status-busy",
		"statusBehind":  "status-seq",
		"clockBack":     "clock",
		"bootChanges":   "boot",
		"identChanges":  "ident-same",
		"slow":          "prompt",
		"peakSmall":     "levels",
		"noClipFlag":    "clipped",
		"plucksMore":    "pluck",
		"answerTwice":   "answers",
		"noAnswer":      "field",
		"repeatMute":    "repeat-done",
		"driveDone":     "drive",
		"endless":       "pluck",
		"dies":          "store",
	} {
		t.Run("slip "+slip, func(t *testing.T) {
			b := &bench{}
			if slip != "" {
				set(t, &b.slips, slip)
			}
			inBubble(t, Options{}, func(port io.ReadWriteCloser) { b.port = port; b.serve(nil) }, func(t *testing.T, rep *Report) {
				if slip == "" && !rep.Passed() || slip != "" && !slices.Contains(rep.Failed, want) {
					t.Errorf("failed %q, want %q%s", rep.Failed, want, failures(rep))
				}
			})
		})
	}
}

// set sets a field of slips by its name.
func set(t *testing.T, s *slips, name string) {
	t.Helper()
	v := reflect.ValueOf(s).Elem()
	f, ok := v.Type().FieldByName(name)
	if !ok {
		t.Fatalf("no slip %s", name)
	}
	*(*bool)(v.FieldByIndex(f.Index).Addr().UnsafePointer()) = true
}

// TestRestart: the person is asked, and a boot that stays the same fails.
func TestRestart(t *testing.T) {
	for _, same := range []bool{false, true} {
		b := &bench{slips: slips{sameBoot: same}}
		var off chan struct{}
		opt := Options{Quick: true, Restart: Restart{Ask: func() { off <- struct{}{} }}}
		inBubble(t, opt, func(port io.ReadWriteCloser) {
			off = make(chan struct{}) // of the bubble
			b.port = port
			b.serve(off)
		}, func(t *testing.T, rep *Report) {
			if got := slices.Contains(rep.Failed, "restart"); got != same || len(rep.Failed) > 1 {
				t.Errorf("same boot %v: failed %q%s", same, rep.Failed, failures(rep))
			}
			if !slices.Equal(rep.Skipped, []string{"store"}) {
				t.Errorf("skipped %q", rep.Skipped)
			}
		})
	}
}

// TestJigtest: the independent jig passes, whatever it is.
func TestJigtest(t *testing.T) {
	for name, cfg := range map[string]jigtest.Config{
		"plucks":   {},
		"drives":   {Excite: "drive", Strings: 1},
		"no probe": {NoProbe: true, Strings: 12, Prompt: true},
		"worn":     {FirstSeq: 4294967200, Clock: 4294960000},
	} {
		t.Run(name, func(t *testing.T) {
			cfg.StatusEvery, cfg.TakeTime = time.Second, 400*time.Millisecond
			j := jigtest.New(cfg)
			inBubble(t, Options{}, func(port io.ReadWriteCloser) { j.Serve(context.Background(), port) }, func(t *testing.T, rep *Report) {
				if !rep.Passed() {
					t.Errorf("failed %q%s", rep.Failed, failures(rep))
				}
				plucks := 0
				for _, e := range j.Log() {
					plucks += strings.Count(e.Mode, "P")
				}
				if plucks > rep.Planned.Plucks {
					t.Errorf("%d plucks, said %d beforehand", plucks, rep.Planned.Plucks)
				}
			})
		})
	}
}

// TestNoJig: what is no jig is given up soon, with an error that names the port.
func TestNoJig(t *testing.T) {
	for name, x := range map[string]struct {
		says string // every 10 ms
		want error
	}{
		"silence":        {"", jig.ErrSilent},
		"rubbish":        {"\x00\xff*", jig.ErrSilent},
		"lines of words": {"hello\n", jig.ErrSilent},
		"S lines alone":  {seal("S,A1B2C3D4,0,5"), jig.ErrUnresponsive},
	} {
		synctest.Test(t, func(t *testing.T) {
			ours, theirs := net.Pipe()
			go io.Copy(io.Discard, theirs)
			go func() {
				for x.says != "" {
					if _, err := io.WriteString(theirs, x.says); err != nil {
						return
					}
					time.Sleep(10 * time.Millisecond)
				}
			}()
			began := time.Now()
			_, err := Start(t.Context(), ours, Options{Name: "here"})
			var port *jig.PortError
			if !errors.As(err, &port) || port.Port != "here" || !errors.Is(err, x.want) || time.Since(began) > 30*time.Second {
				t.Errorf("%s: %v after %v, want %v", name, err, time.Since(began), x.want)
			}
			time.Sleep(time.Second)
		})
	}
}
