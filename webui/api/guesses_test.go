package api

import (
	"fmt"
	"net/netip"
	"testing"
	"time"
)

func TestGuessesAreFew(t *testing.T) {
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	var g guesses
	one, other := guesser("192.0.2.7:999", ""), guesser("192.0.2.8:999", "")
	for i := range mostGuesses {
		if ok, _ := g.allowed(one, now); !ok {
			t.Fatalf("refused after %d", i)
		}
		g.wrong(one, now)
	}
	if ok, wait := g.allowed(one, now); ok || wait != guessEvery {
		t.Errorf("one more: %t, wait %v", ok, wait)
	}
	if ok, _ := g.allowed(other, now); !ok {
		t.Error("somebody else may not try")
	}
	later := now.Add(guessEvery)
	if ok, _ := g.allowed(one, later); !ok {
		t.Error("nor after a while")
	}
	g.wrong(one, later)
	if ok, _ := g.allowed(one, later); ok {
		t.Error("two after one wait")
	}
	// A crowd costs no more memory than it may, and does not let off who guesses most.
	for i := range 3 * mostGuessers {
		g.wrong(guesser(fmt.Sprintf("[2001:db8:%x::1]:9", i), ""), later)
	}
	if ok, _ := g.allowed(one, later); ok || len(g.by) > mostGuessers {
		t.Errorf("%d addresses, allowed %t", len(g.by), ok)
	}
}

// Documentation addresses are those of RFC 5737 and RFC 3849.
func TestWhoGuesses(t *testing.T) {
	for _, c := range []struct{ remote, forwarded, want string }{
		{"192.0.2.7:999", "", "192.0.2.7/32"},
		{"192.0.2.7:999", "198.51.100.1", "192.0.2.7/32"}, // anybody may say that
		{"127.0.0.1:999", "198.51.100.1, 203.0.113.9", "203.0.113.9/32"},
		{"[::1]:999", "2001:db8:1:2:3::4", "2001:db8:1:2::/64"},
		{"127.0.0.1:999", "nobody", "127.0.0.1/32"},
		{"[2001:db8:1:2:3::4%eth0]:1", "", "2001:db8:1:2::/64"},
		{"@", "", "invalid Prefix"},
	} {
		if got := guesser(c.remote, c.forwarded); got.String() != c.want {
			t.Errorf("%s, %s: %v, want %s", c.remote, c.forwarded, got, c.want)
		}
	}
	if guesser("@", "") != (netip.Prefix{}) {
		t.Error("those without an address do not share one")
	}
}
