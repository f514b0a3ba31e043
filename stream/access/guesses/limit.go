package guesses

import (
	"sync"
	"time"
)

// A Limit counts guesses by key. Its zero value refuses everything: set the bounds
// before use. Any goroutine may use it.
type Limit[K comparable] struct {
	Most       int           // at once
	Every      time.Duration // one more
	Remembered int           // keys, at most

	mu sync.Mutex
	by map[K]time.Time // guarded by mu: when all guesses of a key are free again
}

// Allowed reports whether a key has a guess left, and after how long it has one
// otherwise.
func (l *Limit[K]) Allowed(key K, now time.Time) (bool, time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.allowed(key, now)
}

func (l *Limit[K]) allowed(key K, now time.Time) (bool, time.Duration) {
	free, any := l.by[key]
	if !any {
		return l.Most > 0, l.Every
	}
	wait := free.Sub(now) - time.Duration(l.Most-1)*l.Every
	return wait <= 0, wait
}

// Wrong counts a wrong guess. Where more keys come than are remembered, those that
// have guessed least are forgotten.
func (l *Limit[K]) Wrong(key K, now time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.wrong(key, now)
}

func (l *Limit[K]) wrong(key K, now time.Time) {
	if l.by == nil {
		l.by = map[K]time.Time{}
	}
	free, known := l.by[key]
	if free.Before(now) {
		free = now
	}
	if !known && len(l.by) >= l.Remembered {
		l.forget(now)
	}
	l.by[key] = free.Add(l.Every)
}

// forget makes room for a key.
func (l *Limit[K]) forget(now time.Time) {
	var least K
	found := false
	for k, t := range l.by {
		if t.Before(now) {
			delete(l.by, k)
		} else if !found || t.Before(l.by[least]) {
			least, found = k, true
		}
	}
	if found && len(l.by) >= l.Remembered {
		delete(l.by, least)
	}
}

// Take takes a guess before it is known to be wrong, so that those that come at the
// same time are no more than those one after another. Right gives it back.
func (l *Limit[K]) Take(key K, now time.Time) (bool, time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	ok, wait := l.allowed(key, now)
	if ok {
		l.wrong(key, now)
	}
	return ok, wait
}

// Right gives back a guess that was taken.
func (l *Limit[K]) Right(key K) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if free, ok := l.by[key]; ok {
		l.by[key] = free.Add(-l.Every)
	}
}
