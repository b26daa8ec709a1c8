package fit

import (
	"errors"
	"testing"

	"evenpole/capture"
)

func TestSessionsOfTheWanted(t *testing.T) {
	broken := errors.New("broken")
	row := func(pickup, session string, purpose capture.Purpose, seq uint32, status capture.Status) capture.Reading {
		return capture.Reading{Session: session, Purpose: purpose, Jig: "j", Boot: "0", Seq: seq, HasSeq: true, Pickup: pickup,
			String: 1, Core: 0.3, PoleHeight: 0, StringHeight: 3, RMS: 5, Status: status}
	}
	rows := func(yield func(capture.Reading, error) bool) {
		for _, r := range []capture.Reading{
			row("A", "s1", capture.ForRepeat, 1, ""), row("A", "s2", capture.ForRepeat, 2, ""), row("A", "s3", capture.ForModel, 3, ""),
			row("B", "s2", capture.ForRepeat, 4, ""), row("B", "s4", capture.ForRepeat, 5, ""), row("B", "s4", "", 5, capture.Retracted),
		} {
			if !yield(r, nil) {
				return
			}
		}
		yield(capture.Reading{}, broken)
	}
	repeat := func(r *capture.Reading) bool { return r.Purpose == capture.ForRepeat }
	if _, err := Gather(Only(rows, repeat)); !errors.Is(err, broken) {
		t.Errorf("error %v", err)
	}
	good := func(yield func(capture.Reading, error) bool) {
		rows(func(r capture.Reading, err error) bool { return err != nil || yield(r, nil) })
	}
	d, err := Gather(Only(good, repeat))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, cells := range d.Sessions() {
		got = append(got, cells[0].Pickup+cells[0].Session)
		if len(cells) != 1 {
			t.Errorf("%d cells of %s", len(cells), got)
		}
	}
	if want := "As1 As2 Bs2"; len(got) != 3 || got[0]+" "+got[1]+" "+got[2] != want {
		t.Errorf("sessions %v, want %s", got, want)
	}
}
