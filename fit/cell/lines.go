package cell

// Span is a run of lines of one file.
type Span struct {
	File  int32 `json:"file"`  // which of Gather's files, from 0
	First int32 `json:"first"` // lines; the header is line 1
	Last  int32 `json:"last"`
}

// spans keeps lists of spans in few pieces of memory.
type spans struct{ free []Span }

// kept is a copy of a list.
func (s *spans) kept(list []Span) []Span {
	if len(list) == 0 {
		return nil
	}
	if len(s.free) < len(list) {
		s.free = make([]Span, max(len(list), 1024))
	}
	out := s.free[:len(list):len(list)]
	s.free = s.free[copy(out, list):]
	return out
}

// mostRuns is how many runs of lines are told apart.
const mostRuns = 1000

// addLine adds a line to runs of lines.
func addLine(rows []Span, file, line int32) []Span {
	if n := len(rows); n > 0 {
		if last := &rows[n-1]; last.File == file && (last.Last+1 == line || last.Last == line || n == mostRuns) {
			last.Last = line
			return rows
		}
	}
	return append(rows, Span{file, line, line})
}
