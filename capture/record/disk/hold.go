package disk

import "sync"

// holds counts what is being written, so that the program can end between two files
// and not in the middle of one.
var holds = struct {
	sync.Mutex
	changed *sync.Cond
	count   int
	ended   bool
}{}

func init() { holds.changed = sync.NewCond(&holds.Mutex) }

// Hold says that something is being written that must come to its end; release says
// that it has. Holds may overlap. Once Finish has returned, Hold waits for ever: the
// program is about to end.
func Hold() (release func()) {
	holds.Lock()
	defer holds.Unlock()
	for holds.ended && holds.count == 0 {
		holds.changed.Wait()
	}
	holds.count++
	return func() {
		holds.Lock()
		defer holds.Unlock()
		holds.count--
		holds.changed.Broadcast()
	}
}

// Finish waits until nothing is being written and lets nothing be written any more,
// until resume is called.
func Finish() (resume func()) {
	holds.Lock()
	defer holds.Unlock()
	holds.ended = true
	for holds.count > 0 {
		holds.changed.Wait()
	}
	return func() {
		holds.Lock()
		defer holds.Unlock()
		holds.ended = false
		holds.changed.Broadcast()
	}
}
