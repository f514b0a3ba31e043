package pulse

import (
	"context"
	"sync/atomic"
	"time"
)

// A Glow is a Way to whoever only needs to know whether beats still come.
type Glow struct {
	made time.Time
	last atomic.Int64 // since made, of the newest beat
}

// NewGlow returns one that is lit now, as if it had just had a beat: a daemon that
// starts has done nothing wrong yet.
func NewGlow() *Glow { return &Glow{made: time.Now()} }

// Beat implements Way.
func (g *Glow) Beat(context.Context, Beat) error {
	g.last.Store(int64(time.Since(g.made)))
	return nil
}

// Close implements Way.
func (g *Glow) Close() {}

// Age returns how long ago the newest beat was, in host time. Any goroutine may ask.
func (g *Glow) Age() time.Duration { return time.Since(g.made) - time.Duration(g.last.Load()) }
