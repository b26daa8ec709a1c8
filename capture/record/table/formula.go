package table

import (
	"strconv"
	"strings"
)

// A spreadsheet takes a cell for a formula that begins with one of these signs, and works
// it out when the file is opened: a name in a record from elsewhere could so run
// programs. In every CSV file that is written, such a text has an apostrophe before it,
// and reading takes that off again, so that both give the same text. Numbers stay what
// they are.
const formulaSigns = "=+-@\t\r\n"

// Guarded returns a cell as it is written: with an apostrophe before what a spreadsheet
// would take for a formula, and before what [Plain] would take one off.
func Guarded(text string) string {
	if formula(text) && !isNumber(text) {
		return "'" + text
	}
	return text
}

// Plain returns what the text of a cell says: without the apostrophe of Guarded.
func Plain(text string) string {
	if text == "" || text[0] != '\'' || !formula(text) {
		return text
	}
	return text[1:]
}

// formula tells whether a text begins as a formula, after apostrophes or none.
func formula(text string) bool {
	rest := strings.TrimLeft(text, "'")
	return rest != "" && strings.IndexByte(formulaSigns, rest[0]) >= 0
}

func isNumber(text string) bool {
	_, err := strconv.ParseFloat(text, 64)
	return err == nil && strings.Trim(text, "+-.0123456789eE") == ""
}
