package webui

import (
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"

	"weald/webui/api"
)

// policy is the content security policy of every answer: everything from here,
// no inline script or style, no plug-ins, no frames around us.
const policy = "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; " +
	"object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

// headers sets what every answer carries. Answers are not kept unless a handler
// says otherwise: the present is soon the past.
func headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=(), payment=(), usb=()")
		h.Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

// hosts refuses requests over loopback that ask for a name that is not one of
// this machine. A hostile page can let its own name point at 127.0.0.1; for the
// browser that page is then of our origin, and only the name tells.
func hosts(more []string, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if overLoopback(r) && !isLocalName(r.Host) && !slices.Contains(more, hostname(r.Host)) {
			api.Problem(w, http.StatusMisdirectedRequest, "this daemon is not "+hostname(r.Host)+": ask for it as localhost")
			return
		}
		next.ServeHTTP(w, r)
	})
}

func overLoopback(r *http.Request) bool {
	local, ok := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	if !ok {
		return false
	}
	addr, err := netip.ParseAddrPort(local.String())
	return err == nil && addr.Addr().Unmap().IsLoopback()
}

func isLocalName(host string) bool {
	name := hostname(host)
	if name == "localhost" || strings.HasSuffix(name, ".localhost") {
		return true
	}
	addr, err := netip.ParseAddr(name)
	return err == nil && addr.Unmap().IsLoopback()
}

// hostname returns a Host header's name without its port, in lower case.
func hostname(host string) string {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	return strings.ToLower(strings.Trim(host, "[]"))
}
