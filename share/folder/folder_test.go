package folder

import (
	"testing"

	"evenpole/share"
	"evenpole/share/sharetest"
)

func TestCarrier(t *testing.T) {
	sharetest.Carrier(t, func(t *testing.T) func(string) share.Carrier {
		dir := t.TempDir()
		return func(string) share.Carrier {
			f, err := Open(dir)
			if err != nil {
				t.Fatal(err)
			}
			return f
		}
	})
}
