package capture

import (
	"evenpole/capture/record"
	"evenpole/jig"
)

// Open opens a shop's record and a jig. A shop with a record comes first, so
// that a second capture is refused before it disturbs the jig of the first; a folder
// becomes a shop only once the jig has answered. With an error of the jig, the record may
// be there, for the caller to close.
func Open(hasRecord bool, open func() (*record.Writer, error), attach func() (*jig.Conn, error)) (*record.Writer, *jig.Conn, error) {
	if !hasRecord {
		conn, err := attach()
		if err != nil {
			return nil, nil, err
		}
		w, err := open()
		if err != nil {
			conn.Close()
		}
		return w, conn, err
	}
	w, err := open()
	if err != nil {
		return nil, nil, err
	}
	conn, err := attach()
	return w, conn, err
}
