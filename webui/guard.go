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

// headers sets what every answer carries: those that the OWASP Secure Headers Project
// names. Answers are not kept unless a handler says otherwise: the present is soon the
// past.
func headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("X-Permitted-Cross-Domain-Policies", "none")
		h.Set("X-DNS-Prefetch-Control", "off")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Embedder-Policy", "require-corp")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", permissions)
		h.Set("Cache-Control", "no-store")
		// A browser that has seen it asks for this host name over TLS alone for a
		// year, and takes no certificate that it does not trust. Over loopback it
		// would be said of whatever else this machine serves.
		if r.TLS != nil && !isLocalName(r.Host) {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		next.ServeHTTP(w, r)
	})
}

// permissions refuses to pages, and to what might come into them, all that a browser
// would otherwise lend them and that they do not use.
const permissions = "accelerometer=(), camera=(), display-capture=(), encrypted-media=(), geolocation=(), gyroscope=(), " +
	"hid=(), magnetometer=(), microphone=(), midi=(), payment=(), picture-in-picture=(), publickey-credentials-get=(), " +
	"serial=(), usb=(), xr-spatial-tracking=()"

// hosts refuses requests that ask for a name which is not one of this daemon. A
// hostile page can let its own name point at this machine; for the browser that page
// is then of our origin, and only the name tells. An address cannot be brought about
// so, but over loopback none but its own is asked for.
func hosts(more []string, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		name := hostname(r.Host)
		known := slices.Contains(more, name)
		if !known && overLoopback(r) {
			known = isLocalName(r.Host)
		} else if !known {
			_, err := netip.ParseAddr(name)
			known = err == nil
		}
		if !known {
			api.Problem(w, http.StatusMisdirectedRequest, "this daemon is not "+name+
				": ask for it under a name of web.names in its configuration, or on its own machine as localhost")
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
