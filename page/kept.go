package page

import "sync"

// kept is what was worked out last, for as long as what it was worked out from is the same.
type kept[T any] struct {
	mu    sync.Mutex
	made  bool
	of    string
	value T
}

// get returns what was made of the same, or makes it.
func (k *kept[T]) get(of string, make func() (T, error)) (T, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.made && k.of == of {
		return k.value, nil
	}
	v, err := make()
	if err != nil {
		return v, err
	}
	k.made, k.of, k.value = true, of, v
	return v, nil
}
