package verdict

import (
	"slices"
	"testing"
	"time"

	"evenpole/capture/record"
)

// The latest session with the probe is the one that was captured last and counts,
// whatever the order of rows.
func TestLatestProbeSession(t *testing.T) {
	at := func(session string, hour int, mT ...float64) []record.FieldReading {
		rows := fieldOver(session, mT...)
		for i := range rows {
			rows[i].Time = start.Add(time.Duration(hour) * time.Hour)
		}
		return rows
	}
	back := func(rows []record.FieldReading) []record.FieldReading {
		out := slices.Clone(rows)
		for i := range out {
			out[i].Status, out[i].Time = record.Retracted, start.Add(9*time.Hour)
		}
		return out
	}
	old, good, mistaken := at("f1", 1, 250, 250, 250, 250, 250, 250), at("f2", 2, 251, 251, 251, 251, 251, 251), at("f3", 3, 251, 251, 251, -251, 251, 251)
	for name, rows := range map[string][]record.FieldReading{
		"in order":              slices.Concat(old, good),
		"brought in later":      slices.Concat(good, old),
		"the newest taken back": slices.Concat(old, good, mistaken, back(mistaken)),
	} {
		d := diagnosed(t, built(nil, nil), rows).Diagnosis
		if got := float64(d.Strings[3].Field); got != 251 {
			t.Errorf("%s: %g mT over pole 4, want the 251 of session f2", name, got)
		}
	}
}

// Only magnets of the pickup's own batch tell how far its magnets differ.
func TestProbeTakesItsOwnBatch(t *testing.T) {
	poles := fieldOver("f", 250, 250, 250, 250, 250, 250)
	loose := func(batch string, from uint32, mT ...float64) []record.FieldReading {
		var rows []record.FieldReading
		for i, f := range mT {
			rows = append(rows, record.FieldReading{Jig: "J", Boot: "loose", Seq: from + uint32(i), HasSeq: true, Batch: batch,
				Magnet: string(rune('a' + i)), Field: f, ProbeGap: 0.5, Status: record.OK})
		}
		return rows
	}
	own := loose("M-1", 1, 250, 251, 249, 250, 252, 248, 250, 251)
	wild := loose("M-9", 101, 150, 350, 200, 300, 180, 320, 400, 120)
	without, err := probed(fieldRows(slices.Concat(poles, own)), "P1", "M-1", 6, nil)
	if err != nil {
		t.Fatal(err)
	}
	with, err := probed(fieldRows(slices.Concat(poles, own, wild)), "P1", "M-1", 6, nil)
	if err != nil {
		t.Fatal(err)
	}
	if with.spread != without.spread {
		t.Errorf("spread %g beside another batch, %g without", with.spread, without.spread)
	}
}
