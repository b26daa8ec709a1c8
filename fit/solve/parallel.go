package solve

import (
	"runtime"
	"sync"
)

// spares is memory that several goroutines work in, one after the other.
type spares[T any] struct {
	mu  sync.Mutex
	all []*T
}

// with calls do with spare memory, or with new.
func (s *spares[T]) with(do func(*T)) {
	s.mu.Lock()
	v := new(T)
	if n := len(s.all); n > 0 {
		v, s.all = s.all[n-1], s.all[:n-1]
	}
	s.mu.Unlock()
	do(v)
	s.mu.Lock()
	s.all = append(s.all, v)
	s.mu.Unlock()
}

// InParallelEach does n things that do not depend on each other, as many at once as
// there are processors.
func InParallelEach(n int, do func(i int)) {
	if n == 1 {
		do(0)
		return
	}
	var wg sync.WaitGroup
	todo := make(chan int, n)
	for i := range n {
		todo <- i
	}
	close(todo)
	for range min(n, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for i := range todo {
				do(i)
			}
		})
	}
	wg.Wait()
}

// InParallel cuts n things that do not depend on each other into parts and does these at
// the same time.
func InParallel(n int, do func(from, to int)) {
	const part = 2000 // what is worth a goroutine
	parts := (n + part - 1) / part
	if parts <= 1 {
		do(0, n)
		return
	}
	InParallelEach(parts, func(i int) { do(i*part, min(n, (i+1)*part)) })
}
