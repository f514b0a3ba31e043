package api

import (
	"net"
	"net/netip"
	"strings"
	"sync"
	"time"
)

// How many wrong keys one address may try: so many at once, and one more each time
// this has passed. A key has 130 bits; this keeps who guesses from keeping the
// daemon busy.
const (
	mostGuesses  = 10
	guessEvery   = 6 * time.Second
	mostGuessers = 1024 // addresses that are remembered
)

// guesses counts wrong keys by address. Any goroutine may use it.
type guesses struct {
	mu sync.Mutex
	by map[netip.Prefix]time.Time // guarded by mu: when all guesses of an address are free again
}

// allowed reports whether an address may try a key, and after how long it may
// otherwise.
func (g *guesses) allowed(from netip.Prefix, now time.Time) (bool, time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	free, any := g.by[from]
	if !any {
		return true, 0
	}
	wait := free.Sub(now) - (mostGuesses-1)*guessEvery
	return wait <= 0, wait
}

// wrong counts a wrong key. Where more addresses guess than are remembered, those
// that have guessed least are forgotten.
func (g *guesses) wrong(from netip.Prefix, now time.Time) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.by == nil {
		g.by = map[netip.Prefix]time.Time{}
	}
	free := g.by[from]
	if free.Before(now) {
		free = now
	}
	if _, known := g.by[from]; !known && len(g.by) >= mostGuessers {
		var least netip.Prefix
		for p, t := range g.by {
			if t.Before(now) {
				delete(g.by, p)
			} else if !least.IsValid() || t.Before(g.by[least]) {
				least = p
			}
		}
		if len(g.by) >= mostGuessers {
			delete(g.by, least)
		}
	}
	g.by[from] = free.Add(guessEvery)
}

// guesser is the address that a request is from, without what one household or ward
// can change of it. A proxy on this machine says whom it asks for; anybody else could
// say anything.
func guesser(remote, forwarded string) netip.Prefix {
	host, _, err := net.SplitHostPort(remote)
	if err != nil {
		host = remote
	}
	addr, _ := netip.ParseAddr(host)
	if addr.Unmap().IsLoopback() {
		last := forwarded[strings.LastIndexByte(forwarded, ',')+1:]
		if a, err := netip.ParseAddr(strings.TrimSpace(last)); err == nil {
			addr = a
		}
	}
	addr = addr.Unmap().WithZone("")
	bits := 64
	if addr.Is4() {
		bits = 32
	}
	p, _ := addr.Prefix(bits) // of no address it is no prefix, and all of those share one
	return p
}
