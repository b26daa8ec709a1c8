package disk

import (
	"io"
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"
)

// A program that is to end waits for the file that is being written, and begins no
// other.
func TestFinish(t *testing.T) {
	path := filepath.Join(t.TempDir(), "after.csv")
	synctest.Test(t, func(t *testing.T) {
		release := Hold()
		inner := Hold() // a file within what is held
		finished, resume := false, func() {}
		go func() {
			resume = Finish()
			finished = true
		}()
		synctest.Wait()
		release()
		synctest.Wait()
		if finished {
			t.Error("it ends while something is being written")
		}
		Hold()() // what is held may go on writing
		inner()
		synctest.Wait()
		if !finished {
			t.Error("it does not end when all is written")
		}
		var written error
		begun := false
		go func() {
			written = WriteFile(path, func(io.Writer) error {
				begun = true
				return nil
			})
		}()
		synctest.Wait()
		if _, err := os.Stat(path); begun || err == nil {
			t.Error("a file is written after the end")
		}
		resume()
		synctest.Wait()
		if !begun || written != nil {
			t.Errorf("it is not written when the end is called off: %v", written)
		}
	})
}
