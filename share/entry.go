package share

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"evenpole/capture/record"
)

// A Stream is one of the sequences of entries that a bench adds to the shared record.
type Stream string

// The streams. Those that are named after a file of the record have one entry for each of
// its rows; [Documents] has one for each version of a file that is kept whole.
const (
	Documents    Stream = "documents"
	Sessions     Stream = "sessions"
	Readings     Stream = "readings"
	Fields       Stream = "fields"
	ReadingSeals Stream = "readings.seals"
	FieldSeals   Stream = "fields.seals"
)

// Streams are all streams, in the order in which they are pushed and pulled: what rows
// refer to comes before the rows.
func Streams() []Stream {
	return []Stream{Documents, Sessions, Readings, Fields, ReadingSeals, FieldSeals}
}

// file is the file of the record that a stream has the rows of; "" for documents.
func (s Stream) file() string {
	if s == Documents {
		return ""
	}
	return string(s) + ".csv"
}

// seals reports whether the entries are seals, and of which file of the record.
func (s Stream) seals() (of string, ok bool) {
	switch s {
	case ReadingSeals:
		return record.ReadingsFile, true
	case FieldSeals:
		return record.FieldsFile, true
	}
	return "", false
}

// An Entry is one step of a stream. It never changes: a stream only grows.
type Entry struct {
	Stream Stream `json:"stream"`
	N      int64  `json:"n"`     // from 1, without gaps
	Chain  string `json:"chain"` // see Head
	Cells  string `json:"cells"` // what it says: a JSON object of texts, see encode
}

// A Head is how far a stream has come. Chain is the first 32 hex digits of the SHA-256 of
// the chain before, N and the cells of entry N, with LF between them; the first chain, that
// of no entry, is that of the names of the bench and the stream. So one head stands for all
// that the stream said up to there.
type Head struct {
	N     int64  `json:"n"`
	Chain string `json:"chain"`
}

// Heads are the heads of a bench's streams; one that is missing has no entries.
type Heads map[Stream]Head

// Of is the head of one of a bench's streams.
func (h Heads) Of(bench string, s Stream) Head {
	if head, ok := h[s]; ok {
		return head
	}
	return Start(bench, s)
}

const chainDigits = 32

// Start is the head of a stream without entries.
func Start(bench string, s Stream) Head {
	return Head{0, chainOf("evenpole share 1\n" + bench + "\n" + string(s))}
}

// Next is the head after one more entry.
func (h Head) Next(cells string) Head {
	n := h.N + 1
	return Head{n, chainOf(h.Chain + "\n" + strconv.FormatInt(n, 10) + "\n" + cells)}
}

// Entry is the entry that follows a head.
func (h Head) Entry(s Stream, cells string) Entry {
	next := h.Next(cells)
	return Entry{s, next.N, next.Chain, cells}
}

func chainOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:chainDigits/2])
}

// IsChain tells whether a text can be a chain.
func IsChain(text string) bool {
	return len(text) == chainDigits && strings.Trim(text, "0123456789abcdef") == ""
}

// MostCells is how many bytes the cells of one entry may take.
const MostCells = 1 << 20

// encode writes cells as an entry has them: a JSON object without spaces, its names sorted,
// its values texts that are not empty, of which quotes, backslashes and control characters
// alone are escaped. So the same cells always give the same bytes.
func encode(cells map[string]string) (string, error) {
	names := slices.Sorted(maps.Keys(cells))
	b := []byte{'{'}
	for _, name := range names {
		var err error
		if b, err = appendCell(b, name, cells[name]); err != nil {
			return "", err
		}
	}
	if b = append(b, '}'); len(b) > MostCells {
		return "", fmt.Errorf("expected at most %d bytes, got %d", MostCells, len(b))
	}
	return string(b), nil
}

// appendCell adds a cell to an object that was begun, unless it is empty.
func appendCell(b []byte, name, text string) ([]byte, error) {
	if text == "" {
		return b, nil
	}
	if !utf8.ValidString(text) || !utf8.ValidString(name) || strings.IndexByte(text, 0) >= 0 {
		return b, fmt.Errorf("%s: expected UTF-8 without a zero byte", name)
	}
	if len(b) > 1 {
		b = append(b, ',')
	}
	b = append(appendQuoted(b, name), ':')
	return appendQuoted(b, text), nil
}

func appendQuoted(b []byte, text string) []byte {
	b = append(b, '"')
	for i := range len(text) {
		switch c := text[i]; {
		case c == '"' || c == '\\':
			b = append(b, '\\', c)
		case c < ' ':
			b = append(b, '\\', 'u', '0', '0', "0123456789abcdef"[c>>4], "0123456789abcdef"[c&15])
		default:
			b = append(b, c)
		}
	}
	return append(b, '"')
}

// decode reads what encode wrote, and refuses any other text.
func decode(text string) (map[string]string, error) {
	cells, err := decodeAny(text)
	if err != nil {
		return nil, err
	}
	if again, err := encode(cells); err != nil || again != text {
		return nil, errors.New("expected a JSON object of texts with sorted names and nothing else")
	}
	return cells, nil
}

// decodeAny reads a JSON object of texts, however it is written.
func decodeAny(text string) (cells map[string]string, err error) {
	if len(text) > MostCells {
		return nil, fmt.Errorf("expected at most %d bytes, got %d", MostCells, len(text))
	}
	if err := json.Unmarshal([]byte(text), &cells); err != nil || cells == nil {
		return nil, errors.New("expected a JSON object of texts")
	}
	return cells, nil
}

// benchForm is what a bench may be called: a name for files and roles on every system.
var benchForm = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)

// mostBenchName is how long that may be.
const mostBenchName = 40

// reserved are names of devices on Windows, which no file may have.
var reserved = regexp.MustCompile(`(?i)^(con|prn|aux|nul|com[0-9]|lpt[0-9])(\.|$)`)

// CheckBench refuses what no bench may be called.
func CheckBench(name string) error {
	if len(name) > mostBenchName || !benchForm.MatchString(name) || reserved.MatchString(name) {
		return &InputError{fmt.Sprintf("bench %.60q: expected a name of at most %d letters a to z, digits and single hyphens, a letter first", name, mostBenchName)}
	}
	return nil
}

// An InputError is one that the user can help.
type InputError struct{ Msg string }

// Error returns the message.
func (e *InputError) Error() string { return e.Msg }
