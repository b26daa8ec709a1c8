package record

// identity names a reading: the same one twice counts once.
type identity struct {
	jig, boot string
	seq       uint32
}

// entry is what a row of the record means to a capture.
type entry struct {
	identity
	named   bool // it has an identity
	session string
	status  Status
	Take
}

func (r *Reading) entry() entry {
	return entry{identity{r.Jig, r.Boot, r.Seq}, r.HasSeq, r.Session, r.Status, r.Counts()}
}

func (r *FieldReading) entry() entry {
	return entry{identity{r.Jig, r.Boot, r.Seq}, r.HasSeq, r.Session, r.Status, r.Counts()}
}

// History is what the record has of a jig's power-up and of a session.
type History struct {
	jig, boot string
	session   string // "" is none

	Seen        map[uint32]bool // sequence numbers of the power-up
	Takes       []Take          // of the session, each once
	index       map[identity]int
	LastSession int // the highest number of any session
}

// History reads the record.
func (s *Writer) History(jig, boot, session string) (*History, error) {
	h := &History{jig: jig, boot: boot, session: session, Seen: map[uint32]bool{}, index: map[identity]int{}}
	for row, err := range readFile(s.path(SessionsFile), readHolds) {
		if err != nil {
			return nil, err
		}
		h.LastSession = max(h.LastSession, sessionNumber(row.Session))
	}
	for r, err := range readFile(s.path(ReadingsFile), Readings) {
		if err != nil {
			return nil, err
		}
		h.add(r.entry())
	}
	for f, err := range readFile(s.path(FieldsFile), Fields) {
		if err != nil {
			return nil, err
		}
		h.add(f.entry())
	}
	return h, nil
}

func (h *History) add(e entry) {
	h.LastSession = max(h.LastSession, sessionNumber(e.session))
	if e.named && e.jig == h.jig && e.boot == h.boot {
		h.Seen[e.seq] = true
	}
	i, twice := h.index[e.identity]
	switch twice = twice && e.named; {
	case twice && e.status == Retracted: // whatever session the row names
		h.Takes[i].Good = false
	case !twice && e.session == h.session && h.session != "":
		h.index[e.identity] = len(h.Takes)
		h.Takes = append(h.Takes, e.Take)
	}
}
