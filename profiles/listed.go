package profiles

import (
	"fmt"
	"strings"
)

// MostListed is how many names a line of text lists.
const MostListed = 20

// Listed lists names for people: of many the first MostListed, and how many more there are.
func Listed(names []string) string {
	if len(names) <= MostListed {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:MostListed], ", "), len(names)-MostListed)
}
