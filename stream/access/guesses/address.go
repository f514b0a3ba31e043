package guesses

import (
	"net"
	"net/netip"
	"strings"
)

// Address is that which a request is from, by its remote address and its header
// X-Forwarded-For. A proxy on this machine says whom it asks for; anybody else could
// say anything. The zero Addr where there is none.
func Address(remote, forwarded string) netip.Addr {
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
	return addr.Unmap().WithZone("")
}

// Household is an address without what one household or ward can change of it.
func Household(addr netip.Addr) netip.Prefix {
	bits := 64
	if addr.Is4() {
		bits = 32
	}
	p, _ := addr.Prefix(bits) // of no address it is no prefix, and all of those share one
	return p
}
