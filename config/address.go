package config

import (
	"net"
	"net/netip"
	"strconv"
	"strings"

	"weald/config/internal/tree"
)

// address checks a host:port to dial and returns it.
func (r *reader) address(text string, path tree.Path) string {
	host, port, err := net.SplitHostPort(text)
	if err != nil || host == "" || strings.ContainsAny(host, " /") || !isPort(port) {
		r.doc.Report(path, "%s is %q: give a host and a port, such as 10.0.0.5:4000", path.Name(), text)
	}
	return text
}

// port checks a host:port to listen on, where the host may be left out, and
// that no other part of the daemon listens there. What is who listens.
func (r *reader) port(text, what string, path tree.Path) string {
	host, port, err := net.SplitHostPort(text)
	_, noAddr := netip.ParseAddr(host)
	if err != nil || !isPort(port) || host != "" && host != "localhost" && noAddr != nil {
		r.doc.Report(path, "%s is %q: give a port, with an address of this machine or none, such as 127.0.0.1:4000 or :4000", path.Name(), text)
		return text
	}
	for _, other := range r.ports {
		if other.overlaps(host, port) {
			r.doc.Report(path, "%s is %q, where %s listens already: give each its own port", path.Name(), text, other.what)
			return text
		}
	}
	r.ports = append(r.ports, listener{host, port, what})
	return text
}

// A listener is where a part of the daemon listens.
type listener struct{ host, port, what string }

// overlaps reports whether nobody can listen on host and port besides l.
func (l listener) overlaps(host, port string) bool {
	return l.port == port && l.port != "0" && (l.host == host || anywhere(l.host) || anywhere(host) || isLoopback(l.host) && isLoopback(host) && (l.host == "localhost" || host == "localhost"))
}

// anywhere reports whether host stands for every address of the machine.
func anywhere(host string) bool {
	addr, err := netip.ParseAddr(host)
	return host == "" || err == nil && addr.Unmap().IsUnspecified()
}

// isLoopback reports whether only this machine can reach host.
func isLoopback(host string) bool {
	addr, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && addr.Unmap().IsLoopback()
}

// OnLoopback reports whether only this machine can reach what listens on a host:port.
func OnLoopback(listen string) bool {
	host, _, err := net.SplitHostPort(listen)
	return err == nil && isLoopback(host)
}

// isPort reports whether s is the number of a port that a peer can know.
func isPort(s string) bool {
	n, err := strconv.ParseUint(s, 10, 16)
	return err == nil && n > 0 && strconv.FormatUint(n, 10) == s
}
