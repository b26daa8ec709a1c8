package disk

// Windows has no pipes in folders, and no flag for links: what has the name is looked
// at before it is opened, and compared after.
const (
	nonBlocking = 0
	noFollow    = 0
)
