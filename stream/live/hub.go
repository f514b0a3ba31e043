package live

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/gorilla/websocket"

	"weald/rules/alert"
	"weald/stream/history"
	"weald/stream/pipeline"
	"weald/stream/view"
)

const (
	mostClients = 1024
	goneEvery   = 10 * time.Millisecond // how often Run looks whether all have left
)

// A Place is what the hub must know of one place.
type Place struct {
	ID            string
	Rows, Columns int // of its mat; 0 without one
}

// Options are what New needs.
type Options struct {
	Places   []Place // in the order of the plan
	Pipeline *pipeline.Pipeline
	Store    *history.Store // must follow the pipeline before the hub does
	Clock    pipeline.Clock
	Version  string // of the program, for people

	// Watched is told what places a viewer begins to watch, or that it is all of
	// them; nil to tell nobody. It must not block.
	Watched func(ctx context.Context, places []string, all bool)

	Zone     string // IANA name of the zone in which people read times; "" for the viewer's own
	Settings string // names the configuration: another one has another name
}

// ErrReplaced ends a hub in whose place another one, with another configuration, serves.
var ErrReplaced = errors.New("another hub serves")

// A Hub serves all viewers.
type Hub struct {
	Options
	upgrader websocket.Upgrader
	closing  chan struct{} // closed when Run ends
	farewell *end          // what viewers are told then; set before closing is closed

	given, givenBare []*parts // by place: the newest view that viewers of news were told; Run's own

	mu      sync.Mutex
	clients atomic.Pointer[[]*client] // replaced, under mu, never changed
	ended   counters
}

// New returns a hub without viewers, which does nothing before Run.
func New(o Options) *Hub {
	h := &Hub{Options: o, closing: make(chan struct{}), given: make([]*parts, len(o.Places)), givenBare: make([]*parts, len(o.Places))}
	h.clients.Store(&[]*client{})
	h.upgrader = websocket.Upgrader{
		HandshakeTimeout: 10 * time.Second,
		Subprotocols:     []string{Protocol},
		WriteBufferPool:  new(sync.Pool),
		CheckOrigin:      sameOrigin,
		// Offered, and used where it pays: see sendPacked.
		EnableCompression: true,
	}
	return h
}

// sameOrigin reports whether a request comes from a page of the host that it asks, and
// over TLS from one that came over TLS; or from no page at all.
func sameOrigin(r *http.Request) bool {
	given := r.Header["Origin"]
	if len(given) == 0 {
		return true
	}
	origin, err := url.Parse(given[0])
	return err == nil && len(given) == 1 && strings.EqualFold(origin.Host, r.Host) &&
		(origin.Scheme == "https" || origin.Scheme == "http" && r.TLS == nil)
}

// ServeHTTP takes the connection of one viewer and returns when it has ended.
func (h *Hub) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if len(*h.clients.Load()) >= mostClients {
		http.Error(w, "as many viewers as can be served are connected", http.StatusServiceUnavailable)
		return
	}
	conn, err := h.upgrader.Upgrade(w, r, nil)
	if err != nil {
		return // Upgrade has answered
	}
	c := newClient(r.Context(), h, conn)
	if !h.add(c) {
		c.refuse()
		return
	}
	defer h.remove(c)
	c.serve()
}

func (h *Hub) add(c *client) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	old := *h.clients.Load()
	if len(old) >= mostClients {
		return false
	}
	now := append(slices.Clone(old), c)
	h.clients.Store(&now)
	return true
}

func (h *Hub) remove(c *client) {
	h.mu.Lock()
	defer h.mu.Unlock()
	now := slices.DeleteFunc(slices.Clone(*h.clients.Load()), func(o *client) bool { return o == c })
	h.clients.Store(&now)
	h.ended.count(c.why())
}

// Updated implements pipeline.Follower: it wakes the viewers that watch the
// place.
func (h *Hub) Updated(u *pipeline.Update) {
	for _, c := range *h.clients.Load() {
		if s := c.sub.Load(); s != nil && s.wakes[u.Place] {
			c.nudge()
		}
	}
}

// Alert implements pipeline.Follower: every subscribed viewer is told of every
// alert, whatever it watches.
func (h *Hub) Alert(a view.Alert, what alert.Change) {
	var body []byte
	for _, c := range *h.clients.Load() {
		if c.sub.Load() == nil {
			continue
		}
		if body == nil {
			body = encode(alertEvent{Event: "alert", What: what, Alert: a})
		}
		c.tell(text{body: body})
	}
}

// Run looks for changed places once a second, and beats, until ctx ends; then
// it sends every viewer away (1001, or 1012 if the cause is ErrReplaced) and gives them
// a moment to hear of it.
func (h *Hub) Run(ctx context.Context) error {
	err := h.follow(ctx)
	h.farewell = &end{websocket.CloseGoingAway, "the daemon stops", endedByUs}
	if errors.Is(context.Cause(ctx), ErrReplaced) {
		h.farewell = &end{websocket.CloseServiceRestart, "the configuration has changed: connect again", endedByUs}
	}
	close(h.closing)
	for waited := time.Duration(0); h.Clients() > 0 && waited < closeDeadline; waited += goneEvery {
		time.Sleep(goneEvery)
	}
	return err
}

func (h *Hub) follow(ctx context.Context) error {
	ticker := time.NewTicker(time.Second)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-ticker.C:
		}
		clients := *h.clients.Load()
		if len(clients) == 0 {
			continue
		}
		if err := h.look(ctx, clients); err != nil {
			return err
		}
		body := encode(beat{Event: "beat", Now: h.Clock.Now().Time()})
		for _, c := range clients {
			c.beat.Store(&body)
			c.nudge()
		}
	}
}

// Clients returns how many viewers are connected.
func (h *Hub) Clients() int { return len(*h.clients.Load()) }
