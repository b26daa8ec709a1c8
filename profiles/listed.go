package profiles

import (
	"fmt"
	"strings"
)

// MostListed is how many names a line of text lists.
const MostListed = 20

// Count is a number of things for people: "1 take", "2 takes", "2 entries", "2 benches". What
// is the word for one of them.
func Count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %s", n, plural(what))
}

func plural(word string) string {
	switch stem, y := strings.CutSuffix(word, "y"); {
	case y:
		return stem + "ies"
	case strings.HasSuffix(word, "ch"):
		return word + "es"
	}
	return word + "s"
}

// Listed lists names for people: of many the first MostListed, and how many more there are.
func Listed(names []string) string {
	if len(names) <= MostListed {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:MostListed], ", "), len(names)-MostListed)
}
