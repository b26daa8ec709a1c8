package capture

import (
	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/profiles"
)

// keep writes a reading to the record. Its owner is the session that commanded it, or
// "". A reading of another owner is filed without a cell, with a note why.
func (r *run) keep(x jig.Reading, owner string) error {
	if r.seen[x.Seq] {
		return nil
	}
	row, notes := sentReading(x, r.ident, r.opt.Now())
	ours := owner == r.result.Session && r.opt.Kind() == record.OfReadings && r.setCell(&row)
	switch {
	case !ours:
		notes = append(notes, strayNote(owner, r.result.Session))
	case row.Mode != record.Quiet && row.RMS <= row.Quiet:
		notes = append(notes, tooQuiet)
	}
	row.Note = joinNotes(notes)
	c := row.AsTake()
	if ours && c.Mode == record.Pluck && c.Good {
		if err := r.checkPitch(&row); err != nil {
			return err
		}
	}
	if err := r.shop.AddReading(&row); err != nil {
		return err
	}
	why := refusal(&row, c.Good)
	r.countRow(x.Seq, ours, c, why)
	r.report(c.TakeGroup, Progress{Session: row.Session, Level: row.RMS, Status: row.Status, Note: row.Note, Refused: why, Reading: &row})
	return nil
}

// checkPitch compares the first good take of each string in this capture with the note
// that the mount gives the string.
func (r *run) checkPitch(row *record.Reading) error {
	if r.opt.AsMounted || r.heard[row.String] || row.Freq == 0 {
		return nil
	}
	r.heard[row.String] = true
	how := profiles.WrongPitch(r.opt.Mount.Strings[row.String-1].Note, row.Freq)
	if how == "" {
		return nil
	}
	err := &PitchError{r.opt.Mount.File, row.String, how}
	if r.opt.OffPitch == nil || !r.opt.OffPitch(err) {
		return err
	}
	r.opt.AsMounted = true
	return nil
}

// keepField writes a field reading likewise.
func (r *run) keepField(x jig.Field, owner string) error {
	if r.seen[x.Seq] {
		return nil
	}
	row := sentField(x, r.ident, r.opt.Now())
	ours := owner == r.result.Session && r.opt.Kind() == record.OfFields && r.setFieldCell(&row)
	if !ours {
		row.Note = strayNote(owner, r.result.Session)
	}
	if err := r.shop.AddField(&row); err != nil {
		return err
	}
	c := row.AsTake()
	r.countRow(x.Seq, ours, c, "")
	r.report(c.TakeGroup, Progress{Session: row.Session, Level: row.Field, Magnet: row.Magnet, Status: row.Status, Note: row.Note})
	return nil
}

// countRow counts a row that is on the disk; why says why its take does not count.
func (r *run) countRow(seq uint32, ours bool, t record.Take, why string) {
	r.seen[seq] = true
	r.result.Kept++
	if !ours {
		r.result.Stray++
		return
	}
	r.count(t)
	if i, ok := r.index[t.TakeGroup]; ok && why != "" {
		r.result.Tallies[i].Refused[why]++
	}
}

// report calls Options.Progress for a row that was kept.
func (r *run) report(s record.TakeGroup, p Progress) {
	p.Mode, p.Number = s.Mode, s.Number
	if p.Session == "" {
		p.Refused = ""
	} else if i, ok := r.index[s]; ok {
		t := &r.result.Tallies[i]
		p.Good, p.Wanted, p.StandardError = t.Good, t.Wanted, t.StandardError
	}
	r.opt.Progress(p)
}

// refusal says why a take does not count; "" when it does.
func refusal(row *record.Reading, good bool) string {
	switch {
	case good:
		return ""
	case row.Status != record.OK:
		return string(row.Status)
	}
	return notAbove
}

// strayNote is the note of a row that does not belong to this session.
func strayNote(owner, session string) string {
	if owner == "" || owner == session {
		return "not commanded by this shop's captures"
	}
	return "left over from session " + owner
}

// setCell fills in the session, and the cell from the mount: what is mounted under the
// string. It is false for a string that the mount does not have.
func (r *run) setCell(row *record.Reading) bool {
	if !row.SetMount(r.opt.Mount) {
		return false
	}
	row.Session, row.Purpose = r.result.Session, r.opt.Purpose
	if row.Mode != record.Quiet {
		row.Quiet = r.quietLevel(row.String)
	}
	return true
}

// setFieldCell fills in the session and what the mount has at the position. It is
// false for a position at which nothing is.
func (r *run) setFieldCell(row *record.FieldReading) bool {
	if !row.SetMount(r.opt.Mount) {
		return false
	}
	row.Session = r.result.Session
	return true
}
