package webui

import (
	"net"
	"net/http"
	"net/netip"
	"strconv"
	"sync"
	"time"

	"weald/stream/access/guesses"
	"weald/webui/api"
)

// How much is let in at a time; what is more is refused at once, so that who floods
// is told so and who watches is not. Common practice, no source: a ward has dozens of
// screens, and a screen six connections.
const (
	mostConnections = 2048 // half of them for live ones
	mostFromOne     = 256  // from one address; this machine may have them all, as a proxy on it speaks for many

	mostRequests        = 256 // under way; live connections do not count
	mostRequestsFromOne = 64

	// How often one address may change something: so often at once, and once more
	// each time this has passed. Everything of it is kept.
	mostChanges  = 500
	changesEvery = 20 * time.Millisecond
	mostCallers  = 1024 // addresses that are remembered
)

// A tally bounds how many of something there are at a time, in all and for each
// address.
type tally struct {
	most, each int

	mu  sync.Mutex
	all int                  // guarded by mu
	by  map[netip.Prefix]int // guarded by mu; none is 0
}

// enter counts one more from an address, or reports that there is no room for it. The
// zero Prefix has no bound of its own.
func (t *tally) enter(from netip.Prefix) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.all >= t.most || from.IsValid() && t.by[from] >= t.each {
		return false
	}
	t.all++
	if from.IsValid() {
		if t.by == nil {
			t.by = map[netip.Prefix]int{}
		}
		t.by[from]++
	}
	return true
}

// leave takes one back.
func (t *tally) leave(from netip.Prefix) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.all--
	if from.IsValid() {
		if t.by[from]--; t.by[from] == 0 {
			delete(t.by, from)
		}
	}
}

// bounded is the address that counts for a bound: the zero Prefix for this machine.
func bounded(remote, forwarded string) netip.Prefix {
	addr := guesses.Address(remote, forwarded)
	if addr.IsLoopback() {
		return netip.Prefix{}
	}
	return guesses.Household(addr)
}

// A door is a listener that hangs up on connections for which there is no room.
type door struct {
	net.Listener
	tally
}

// Accept waits for a connection that there is room for.
func (d *door) Accept() (net.Conn, error) {
	for {
		c, err := d.Listener.Accept()
		if err != nil {
			return nil, err
		}
		from := bounded(c.RemoteAddr().String(), "")
		if d.enter(from) {
			return &guest{Conn: c, left: sync.OnceFunc(func() { d.leave(from) })}, nil
		}
		c.Close()
	}
}

// A guest is a connection that makes room when it is closed.
type guest struct {
	net.Conn
	left func()
}

// Close closes the connection.
func (g *guest) Close() error {
	defer g.left()
	return g.Conn.Close()
}

// crowd refuses requests for which there is no room. Whether the daemon is alive is
// always answered.
func crowd(t *tally, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/live" || r.URL.Path == "/healthz" {
			next.ServeHTTP(w, r)
			return
		}
		from := bounded(r.RemoteAddr, r.Header.Get("X-Forwarded-For"))
		if !t.enter(from) {
			w.Header().Set("Retry-After", "1")
			api.Problem(w, http.StatusServiceUnavailable, "so many requests are under way that this one has to wait: ask again in a second")
			return
		}
		defer t.leave(from)
		next.ServeHTTP(w, r)
	})
}

func newChanges() *guesses.Limit[netip.Prefix] {
	return &guesses.Limit[netip.Prefix]{Most: mostChanges, Every: changesEvery, Remembered: mostCallers}
}

// changes refuses requests to change something from who does so too often.
func changes(l *guesses.Limit[netip.Prefix], next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			from := guesses.Household(guesses.Address(r.RemoteAddr, r.Header.Get("X-Forwarded-For")))
			if ok, wait := l.Take(from, time.Now()); !ok {
				w.Header().Set("Retry-After", strconv.Itoa(1+int(wait/time.Second)))
				api.Problem(w, http.StatusTooManyRequests, "so much is changed from this address that this has to wait: ask again in a second")
				return
			}
		}
		next.ServeHTTP(w, r)
	})
}
