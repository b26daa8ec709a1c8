package table

import (
	"bytes"
	"io"
	"runtime"
	"sync"
)

// readBlocks reads the rest of a file, of which plain has read the header, by blocks on
// all cores, and yields its rows in order. From a row on that only the plain reader can
// read it reads plainly.
func readBlocks[T any](c *cutter, t *Table[T], plain *Reader, yield func(T, error) bool) {
	p := newPool(c, t, plain)
	for b := range p.cut {
		<-b.done
		if !b.yield(yield) {
			p.stop()
			return
		}
		if b.odd >= 0 {
			readPlain(plain.goOn(p.rest(b), b.line), t, yield)
			return
		}
		p.idle <- b
	}
	readPlain(plain.goOn(c.rest(), c.line), t, yield)
}

// yield yields the rows of a batch; false when no more are wanted.
func (b *batch[T]) yield(yield func(T, error) bool) bool {
	wrong := b.wrong
	for i := range b.values {
		var err error
		if len(wrong) > 0 && wrong[0].at == i {
			err, wrong = wrong[0].err, wrong[1:]
		}
		if !yield(b.values[i], err) || !canGoOn(err) {
			return false
		}
	}
	return true
}

// job is a block on its way.
type job[T any] struct {
	batch[T]
	done chan struct{} // it was read
}

// pool cuts a file and reads its blocks.
type pool[T any] struct {
	cutter *cutter
	idle   chan *job[T] // to be cut into
	cut    chan *job[T] // in the order of the file
	work   chan *job[T] // to be read
	quit   chan struct{}
	all    sync.WaitGroup
}

func newPool[T any](c *cutter, t *Table[T], plain *Reader) *pool[T] {
	workers := runtime.GOMAXPROCS(0)
	blocks := 2*workers + 2
	p := &pool[T]{cutter: c, idle: make(chan *job[T], blocks), cut: make(chan *job[T], blocks), work: make(chan *job[T], blocks), quit: make(chan struct{})}
	for range blocks {
		p.idle <- &job[T]{done: make(chan struct{}, 1)}
	}
	p.all.Go(p.cutAll)
	for range workers {
		q := newQuickReader(t, plain)
		p.all.Go(func() {
			for b := range p.work {
				q.read(&b.batch)
				b.done <- struct{}{}
			}
		})
	}
	return p
}

// cutAll cuts block after block.
func (p *pool[T]) cutAll() {
	defer close(p.cut)
	defer close(p.work)
	for {
		select {
		case <-p.quit:
			return
		case b := <-p.idle:
			var ok bool
			if b.text, b.line, ok = p.cutter.next(b.text); !ok {
				return
			}
			p.cut <- b // there is room for all
			p.work <- b
		}
	}
}

// stop ends the reading of the file.
func (p *pool[T]) stop() {
	close(p.quit)
	p.all.Wait()
}

// rest is what follows the good rows of a batch.
func (p *pool[T]) rest(b *job[T]) io.Reader {
	p.stop()
	texts := []io.Reader{bytes.NewReader(b.text[b.odd:])}
	for b := range p.cut {
		texts = append(texts, bytes.NewReader(b.text))
	}
	return io.MultiReader(append(texts, p.cutter.rest())...)
}
