// Package cookie has the cookies of the daemon: what they are called, and what a
// browser is told about them.
package cookie

import "net/http"

// The names. Over TLS they begin with __Host-, which a browser takes from this host
// alone, with Secure and for the whole of it (RFC 6265bis, section 4.1.3.2).
const (
	Session = "weald"
	Screen  = "weald-screen"
	Device  = "weald-device"
	Flow    = "weald-flow" // of a log-in at a directory of the house

	hostPrefix = "__Host-"
)

// lasting is as long as browsers keep any cookie (RFC 6265bis, section 5.5): 400 days.
const lasting = 400 * 24 * 60 * 60

func nameOf(name string, secure bool) string {
	if secure {
		return hostPrefix + name
	}
	return name
}

// Of returns the value of a cookie of ours, "" where there is none, or more than one
// of it: then somebody else has set one too.
func Of(r *http.Request, name string, secure bool) string {
	if found := r.CookiesNamed(nameOf(name, secure)); len(found) == 1 {
		return found[0].Value
	}
	return ""
}

// Set returns the header that gives a browser a key. No script can read it, and no
// page of another site sends it, but for a Flow's, with which another site sends the
// browser back. Those of a Session and a Flow end with the browser; "" takes any away.
func Set(name, key string, secure bool) string {
	c := http.Cookie{Name: nameOf(name, secure), Value: key, Path: "/", Secure: secure, HttpOnly: true, SameSite: http.SameSiteStrictMode}
	if name == Flow {
		c.SameSite = http.SameSiteLaxMode
	}
	switch {
	case key == "":
		c.MaxAge = -1
	case name != Session && name != Flow:
		c.MaxAge = lasting
	}
	return c.String()
}
