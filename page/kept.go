package page

import (
	"context"
	"sync"
)

// kept is what was worked out last, for as long as what it was worked out from is the same.
type kept[T any] struct {
	mu    sync.Mutex
	made  bool
	of    string
	value T
}

// get returns what was made of the same, or makes it, once there is a place for the work.
func (k *kept[T]) get(ctx context.Context, work places, of string, make func() (T, error)) (none T, err error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.made && k.of == of {
		return k.value, nil
	}
	if err := work.take(ctx); err != nil {
		return none, err
	}
	defer work.free()
	v, err := make()
	if err != nil {
		return v, err
	}
	k.made, k.of, k.value = true, of, v
	return v, nil
}
