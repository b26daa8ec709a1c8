package cell

import (
	"errors"
	"testing"

	"evenpole/capture/record"
	"evenpole/capture/record/recordtest"
)

func TestSessionsOfTheWanted(t *testing.T) {
	broken := errors.New("broken")
	row := func(pickup, session string, purpose record.Purpose, seq uint32, status record.Status) record.Reading {
		return record.Reading{Session: session, Purpose: purpose, Jig: "j", Boot: "0", Seq: seq, HasSeq: true, Pickup: pickup,
			String: 1, Core: 0.3, PoleHeight: 0, StringHeight: 3, RMS: 5, Status: status}
	}
	rows := func(yield func(record.Reading, error) bool) {
		for _, r := range []record.Reading{
			row("A", "s1", record.ForRepeat, 1, ""), row("A", "s2", record.ForRepeat, 2, ""), row("A", "s3", record.ForModel, 3, ""),
			row("B", "s2", record.ForRepeat, 4, ""), row("B", "s4", record.ForRepeat, 5, ""), row("B", "s4", "", 5, record.Retracted),
		} {
			if !yield(r, nil) {
				return
			}
		}
		yield(record.Reading{}, broken)
	}
	repeat := func(r *record.Reading) bool { return r.Purpose == record.ForRepeat }
	if _, err := GatherOnly(repeat, rows); !errors.Is(err, broken) {
		t.Errorf("error %v", err)
	}
	good := func(yield func(record.Reading, error) bool) {
		rows(func(r record.Reading, err error) bool { return err != nil || yield(r, nil) })
	}
	d, err := GatherOnly(repeat, good)
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

// Rows that are not wanted still tell what counts of those that are: a reading that
// was filed for a model and then anew for a repeat study is in the study.
func TestGatherOnlyAsksAllRows(t *testing.T) {
	was := with(good(), func(r *record.Reading) { r.Purpose = record.ForModel })
	back := with(was, func(r *record.Reading) { r.Status = record.Retracted })
	anew := with(good(), func(r *record.Reading) { r.Purpose = record.ForRepeat })
	d, err := GatherOnly(func(r *record.Reading) bool { return r.Purpose == record.ForRepeat }, recordtest.Rows([]record.Reading{was, back, anew}))
	if err != nil || len(d.Cells) != 1 || d.Readings != 1 {
		t.Errorf("got %+v, %v, want the one cell", d, err)
	}
}
