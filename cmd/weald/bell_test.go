package main

import (
	"fmt"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/ingest/frame"
	"weald/ingest/tcp/wire/wiretest"
)

// A bell is a wrap beside whatever else a daemon hears. Each time it is rung, one frame
// of its raises one alert more, and the bell finds out how long it takes until a viewer
// hears of that.
type bell struct {
	t     *testing.T
	board net.Listener
	conn  net.Conn
	rung  int
	began time.Time

	mu   sync.Mutex
	sent []time.Time     // by alert: when the frame went that raises it; guarded by mu
	took []time.Duration // guarded by mu
	all  chan struct{}   // closed when all have been heard
}

// newBell makes a bell that can be rung n times.
func newBell(t *testing.T, n int) *bell {
	t.Helper()
	return &bell{t: t, board: boardOn(t), sent: make([]time.Time, n), all: make(chan struct{})}
}

// hang adds the bell to a configuration.
func (b *bell) hang(config string) string {
	config = strings.Replace(config, "\nplaces:\n", fmt.Sprintf(`
  - {id: bell, link: {tcp: {dial: %q}}, format: packed, sources: [{number: 1, id: leg, channels: 1, rate: 20, unit: mmHg}]}
places:
  - {id: bench-0, kind: wrap, sites: [{id: wrist, channels: [bell/leg/0]}]}
`, b.board.Addr()), 1)
	for i := range b.sent {
		config += fmt.Sprintf("  - {id: above-%d, at: {place: bench-0}, limit: {watch: wrist.pressure, above: %d}, priority: low}\n", i, i)
	}
	return config
}

// connect waits for the daemon.
func (b *bell) connect() {
	b.t.Helper()
	conn, err := b.board.Accept()
	if err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() { conn.Close() })
	b.conn, b.began = conn, time.Now()
}

// ring sends the next frame.
func (b *bell) ring() {
	b.t.Helper()
	f := &frame.Frame{Kind: frame.Readings, Source: 1, Seq: uint32(b.rung), Millis: uint32(time.Since(b.began).Milliseconds()), Readings: []float64{float64(b.rung) + 1}}
	p, err := frame.AppendWire(nil, f, frame.U16)
	if err != nil {
		b.t.Fatal(err)
	}
	b.mu.Lock()
	b.sent[b.rung] = time.Now()
	b.mu.Unlock()
	b.rung++
	if _, err := b.conn.Write(p); err != nil {
		b.t.Fatal(err)
	}
}

// hear takes what a viewer is told.
func (b *bell) hear(one told) {
	came := time.Now()
	_, rule, found := strings.Cut(one.id, "~above-")
	if !found || one.what != "raised" {
		return
	}
	var i int
	if _, err := fmt.Sscanf(rule, "%d~", &i); err != nil {
		b.t.Errorf("alert %q: %v", one.id, err)
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.took = append(b.took, came.Sub(b.sent[i])); len(b.took) == len(b.sent) {
		close(b.all)
	}
}

// heard returns, in order, how long it took each time, and whether all were heard
// within some time.
func (b *bell) heard(within time.Duration) (took []time.Duration, all bool) {
	select {
	case <-b.all:
		all = true
	case <-time.After(within):
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	took = slices.Clone(b.took)
	slices.Sort(took)
	return took, all
}

func boardOn(t *testing.T) net.Listener {
	t.Helper()
	l := wiretest.Listen(t)
	t.Cleanup(func() { l.Close() })
	return l
}
