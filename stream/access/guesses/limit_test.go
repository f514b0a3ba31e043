package guesses

import (
	"fmt"
	"net/netip"
	"testing"
	"time"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func ten[K comparable]() *Limit[K] {
	return &Limit[K]{Most: 10, Every: 6 * time.Second, Remembered: 1024}
}

func of(remote, forwarded string) netip.Prefix { return Household(Address(remote, forwarded)) }

func TestGuessesAreFew(t *testing.T) {
	now, g := noon, ten[netip.Prefix]()
	one, other := of("192.0.2.7:999", ""), of("192.0.2.8:999", "")
	for i := range g.Most {
		if ok, _ := g.Allowed(one, now); !ok {
			t.Fatalf("refused after %d", i)
		}
		g.Wrong(one, now)
	}
	if ok, wait := g.Allowed(one, now); ok || wait != g.Every {
		t.Errorf("one more: %t, wait %v", ok, wait)
	}
	if ok, _ := g.Allowed(other, now); !ok {
		t.Error("somebody else may not try")
	}
	later := now.Add(g.Every)
	if ok, _ := g.Allowed(one, later); !ok {
		t.Error("nor after a while")
	}
	g.Wrong(one, later)
	if ok, _ := g.Allowed(one, later); ok {
		t.Error("two after one wait")
	}
	// A crowd costs no more memory than it may, and does not let off who guesses most.
	for i := range 3 * g.Remembered {
		g.Wrong(of(fmt.Sprintf("[2001:db8:%x::1]:9", i), ""), later)
	}
	if ok, _ := g.Allowed(one, later); ok || len(g.by) > g.Remembered {
		t.Errorf("%d addresses, allowed %t", len(g.by), ok)
	}
}

// A guess that is taken counts until it was right; what is right costs nothing.
func TestTakenBeforeItIsKnown(t *testing.T) {
	g := ten[string]()
	for i := range 3 * g.Most {
		if ok, _ := g.Take("anna", noon); !ok {
			t.Fatalf("refused after %d that were right", i)
		}
		g.Right("anna")
	}
	for range g.Most {
		g.Take("anna", noon)
	}
	if ok, wait := g.Take("anna", noon); ok || wait != g.Every {
		t.Errorf("one more while as many as may be are open: %t, %v", ok, wait)
	}
	g.Right("anna")
	if ok, _ := g.Take("anna", noon); !ok {
		t.Error("refused though one has come back")
	}
	// Whatever was tried, all is free again in the end: nobody is locked out for ever.
	if ok, _ := g.Take("anna", noon.Add(time.Duration(g.Most)*g.Every)); !ok {
		t.Error("refused after all have come back")
	}
	if ok, _ := new(Limit[string]).Take("anna", noon); ok {
		t.Error("a limit without bounds lets through")
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
		if got := of(c.remote, c.forwarded); got.String() != c.want {
			t.Errorf("%s, %s: %v, want %s", c.remote, c.forwarded, got, c.want)
		}
	}
	if of("@", "") != (netip.Prefix{}) {
		t.Error("those without an address do not share one")
	}
}
