package gate

import (
	"bufio"
	"context"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/stream/access"
	"weald/stream/access/guesses"
	"weald/webui/api"
	"weald/webui/cookie"
	"weald/webui/route"
)

// A Gate stands before routes.
type Gate struct {
	// Access knows who may do what; nil where there are no accounts.
	Access *access.Access
	Now    func() sample.Instant

	// Seen is told of every request of a route that the audit has a word for, when
	// it has been answered, or when its live connection begins; nil to tell nobody.
	// It must not block for long: the answer waits for it.
	Seen func(context.Context, Event)
}

// An Event is a request, and how it went.
type Event struct {
	Who     access.Who // Nobody where that is not known; never a secret
	Route   *route.Route
	Subject string // what it was about, "place=bed-4 from=…": names in the path and the query, and what access.Visit.About has; at most 300 bytes
	Status  int    // as HTTP has it; 101 for a live connection
	From    netip.Addr
}

// For returns h behind the gate, as the handler of a route.
func (g *Gate) For(of *route.Route, h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		visit := g.visit(r)
		r = r.WithContext(access.With(r.Context(), visit))
		seen := &status{ResponseWriter: w}
		if g.Seen != nil && of.Audit != route.None {
			tell := func(status int) {
				g.Seen(r.Context(), Event{Who: visit.Who, Route: of, Subject: subject(of, r, visit.About), Status: status, From: visit.From})
			}
			seen.taken = tell
			defer func() { seen.tell(tell) }()
		}
		switch {
		case visit.Who.Role.May(of.Least):
			if of.ID == "live" && g.Access != nil {
				var stop context.CancelFunc
				r, stop = g.whileKnown(r, visit.Who)
				defer stop()
			}
			h.ServeHTTP(seen, r)
		case visit.Who.Role == access.Nobody:
			w.Header().Set("WWW-Authenticate", "Bearer")
			api.Problem(seen, http.StatusUnauthorized, "log in first")
		default:
			api.Problem(seen, http.StatusForbidden, "that needs the role "+of.Least.String()+", and this is "+visit.Who.Role.String())
		}
	})
}

// visit finds out who asks, and from where.
func (g *Gate) visit(r *http.Request) *access.Visit {
	v := &access.Visit{
		From:   guesses.Address(r.RemoteAddr, r.Header.Get("X-Forwarded-For")),
		Secure: r.TLS != nil || strings.EqualFold(r.Header.Get("X-Forwarded-Proto"), "https"),
	}
	if g.Access == nil {
		v.Who = access.Anyone
		return v
	}
	now := g.Now()
	v.Device, v.Flow = cookie.Of(r, cookie.Device, v.Secure), cookie.Of(r, cookie.Flow, v.Secure)
	if kind, key, ok := strings.Cut(r.Header.Get("Authorization"), " "); ok {
		if strings.EqualFold(kind, "Bearer") {
			v.Who = g.Access.ByToken(key, v.From, now)
		}
		return v // who brings a token is not taken for whose browser it is
	}
	if key := cookie.Of(r, cookie.Session, v.Secure); key != "" {
		if v.Who = g.Access.BySession(key, now, r.Method != http.MethodGet && r.Method != http.MethodHead); v.Who.Role > access.Nobody {
			return v
		}
	}
	if key := cookie.Of(r, cookie.Screen, v.Secure); key != "" {
		v.Who = g.Access.ByScreen(key, v.From, now)
	}
	return v
}

// stillEvery is how often it is looked whether who watches may watch on.
const stillEvery = 2 * time.Second

// whileKnown returns a request whose context ends when what has opened the door opens
// it no more: a live connection must not outlast its session.
func (g *Gate) whileKnown(r *http.Request, who access.Who) (*http.Request, context.CancelFunc) {
	ctx, cancel := context.WithCancel(r.Context())
	go func() {
		look := time.NewTicker(stillEvery)
		defer look.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-look.C:
				if !g.Access.Still(who, route.Of("live").Least, g.Now()) {
					cancel()
					return
				}
			}
		}
	}()
	return r.WithContext(ctx), cancel
}

// mostSubject is how long a subject may be.
const mostSubject = 300

// subject says what a request is about.
func subject(of *route.Route, r *http.Request, about string) string {
	var words []string
	for _, name := range of.Names() {
		if value := r.PathValue(name); value != "" {
			words = append(words, name+"="+value)
		}
	}
	if query, err := url.ParseQuery(r.URL.RawQuery); err == nil {
		for _, pair := range strings.FieldsFunc(query.Encode(), func(c rune) bool { return c == '&' }) {
			if word, err := url.QueryUnescape(pair); err == nil {
				words = append(words, word)
			}
		}
	}
	if about != "" {
		words = append(words, about)
	}
	text := strings.ToValidUTF8(strings.Join(words, " "), "")
	if len(text) > mostSubject {
		text = strings.ToValidUTF8(text[:mostSubject-len("…")], "") + "…"
	}
	return text
}

// status remembers how a request was answered.
type status struct {
	http.ResponseWriter
	code  int
	told  bool
	taken func(status int) // told when the connection is taken over; nil for nobody
}

// WriteHeader implements http.ResponseWriter.
func (s *status) WriteHeader(code int) {
	if s.code == 0 && code >= http.StatusOK {
		s.code = code
	}
	s.ResponseWriter.WriteHeader(code)
}

// Write implements http.ResponseWriter.
func (s *status) Write(p []byte) (int, error) {
	if s.code == 0 {
		s.code = http.StatusOK
	}
	return s.ResponseWriter.Write(p)
}

// Unwrap is for http.ResponseController.
func (s *status) Unwrap() http.ResponseWriter { return s.ResponseWriter }

// Hijack implements http.Hijacker, which live connections need.
func (s *status) Hijack() (net.Conn, *bufio.ReadWriter, error) {
	conn, rw, err := http.NewResponseController(s.ResponseWriter).Hijack()
	if err == nil {
		s.code = http.StatusSwitchingProtocols
		if s.taken != nil {
			s.tell(s.taken)
		}
	}
	return conn, rw, err
}

func (s *status) tell(f func(int)) {
	if s.told {
		return
	}
	s.told = true
	if s.code == 0 {
		s.code = http.StatusOK
	}
	f(s.code)
}
