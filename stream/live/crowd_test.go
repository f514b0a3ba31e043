package live

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"net/http"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"weald/ingest/processor"
	"weald/ingest/sample"
	"weald/ingest/tcp/wire/wiretest"
)

var (
	crowdOf  = flag.Int("viewers", 40, "viewers of the crowd, a tenth of which stall and a twentieth lie")
	crowdFor = flag.Duration("viewers.for", 1500*time.Millisecond, "for how long it stays")
)

// A crowd of viewers, over sockets of the machine: a tenth of them take nothing, a
// twentieth lie about what they have got and come again. Those who behave are told of
// every alert, in order and once, and of readings until the end; nothing stays behind
// when all have gone.
//
// How long it took is said and not judged here, as other tests run beside: with
// -viewers 1000 -viewers.for 60s, by hand, it is what DEVELOPERS.md quotes.
func TestCrowd(t *testing.T) {
	before := runtime.NumGoroutine()
	t.Run("crowd", func(t *testing.T) { crowd(t, *crowdOf) })
	http.DefaultClient.CloseIdleConnections()
	for deadline := time.Now().Add(20 * time.Second); runtime.NumGoroutine() > before; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			all := make([]byte, 1<<20)
			t.Fatalf("%d goroutines stay of %d: %s", runtime.NumGoroutine(), before, all[:runtime.Stack(all, true)])
		}
	}
	t.Logf("%d goroutines, as before", before)
}

func crowd(t *testing.T, viewers int) {
	stalling, lying := viewers/10, viewers/20
	w := newWardOf(t, ruled())
	l := wiretest.Listen(t)
	server := &http.Server{Handler: w.hub}
	w.running.Go(func() { server.Serve(l) })
	// Bubbles aside, these are sockets: what is asked of them ends with them.
	var all sync.WaitGroup
	ctx, leave := context.WithCancel(t.Context())
	defer func() { leave(); server.Close(); all.Wait() }()

	empty := memory()
	dial := func(wish string) *websocket.Conn {
		d := websocket.Dialer{Subprotocols: []string{Protocol}, HandshakeTimeout: 20 * time.Second, ReadBufferSize: 4096, WriteBufferPool: &pool}
		conn, _, err := d.DialContext(ctx, "ws://"+l.Addr().String()+"/live", nil)
		if err != nil {
			if ctx.Err() == nil {
				t.Error(err)
			}
			return nil
		}
		context.AfterFunc(ctx, func() { conn.Close() })
		if err := conn.WriteMessage(websocket.TextMessage, []byte(wish)); err != nil && ctx.Err() == nil {
			t.Error(err)
		}
		return conn
	}

	good := make([]*follower, viewers-stalling-lying)
	for i := range good {
		good[i] = &follower{clock: w.clock.Now}
		if conn := dial(`{"subscribe":{"places":["bench-1"],"signals":["bench-1/s0*"],"maps":["bed-1"]}}`); conn != nil {
			all.Go(func() { good[i].follow(conn) })
		}
	}
	for range stalling {
		dial(everything) // and never read
	}
	var thrownOut atomic.Uint64
	for i := range lying {
		all.Go(func() {
			for ctx.Err() == nil {
				if conn := dial(everything); conn != nil {
					lie(conn, i)
					thrownOut.Add(1)
				}
			}
		})
	}
	deadline := time.Now().Add(60 * time.Second)
	for slices.ContainsFunc(good, func(f *follower) bool { return !f.ready.Load() }) {
		if time.Now().After(deadline) {
			t.Fatal("not everybody was let in")
		}
		time.Sleep(5 * time.Millisecond)
	}
	full := memory()

	// Ten readings of the wrap a second and one of the bed, and an alert each second
	// that comes and goes; no site more than three in ten minutes, which would be told
	// as one that chatters.
	raised, busy, began := 0, processor.Used(t), time.Now()
	for end := time.Now().Add(*crowdFor); time.Now().Before(end) && raised < 72; raised++ {
		for i := range 10 {
			w.only(raised%24, 40+30*float64(i/5)) // from the fifth on above 60
			if i == 0 {
				w.mat(30)
			}
			time.Sleep(100 * time.Millisecond)
		}
		w.only(raised%24, 40)
	}
	share := (processor.Used(t) - busy).Seconds() / time.Since(began).Seconds()
	var readings, alerts []time.Duration
	wrong := 0
	for i, f := range good {
		for f.changes.Load() < 2*uint64(raised) && time.Now().Before(deadline.Add(*crowdFor)) {
			time.Sleep(5 * time.Millisecond)
		}
		f.mu.Lock()
		if f.broken != "" || f.changes.Load() != 2*uint64(raised) || f.frames == 0 {
			if wrong++; wrong <= 5 {
				t.Errorf("viewer %d: %s; %d changes of %d, %d frames", i, f.broken, f.changes.Load(), 2*raised, f.frames)
			}
		}
		readings, alerts = append(readings, f.readings...), append(alerts, f.alerts...)
		f.mu.Unlock()
	}
	for thrownOut.Load() < uint64(lying) && time.Now().Before(deadline.Add(*crowdFor)) {
		time.Sleep(5 * time.Millisecond)
	}
	if lies := w.hub.Ended(endedLies); lies == 0 || thrownOut.Load() < uint64(lying) {
		t.Errorf("%d liars were sent away, %d are counted", thrownOut.Load(), lies)
	}
	slices.Sort(readings)
	slices.Sort(alerts)
	t.Logf("%d viewers, %d of them stalling, and %d liars sent away %d times", len(good)+stalling, stalling, lying, thrownOut.Load())
	t.Logf("age of readings when they arrived: %s; of alerts: %s", spread(readings), spread(alerts))
	t.Logf("%.2f of a processor, both ends", share)
	t.Logf("%.1f MB before, %.1f MB with all of them, both ends: %.0f kB each", empty/1e6, full/1e6, (full-empty)/1e3/float64(viewers))
}

var pool sync.Pool

// memory is what is in use, in bytes, without what is garbage.
func memory() float64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc + m.StackInuse)
}

func spread(d []time.Duration) string {
	if len(d) == 0 {
		return "none"
	}
	ms := func(share float64) float64 { return d[int(share*float64(len(d)-1))].Seconds() * 1e3 }
	return fmt.Sprintf("p50 %.1f ms, p99 %.1f ms, longest %.1f ms of %d", ms(.5), ms(.99), ms(1), len(d))
}

// A follower is a viewer that behaves.
type follower struct {
	clock   func() sample.Instant
	ready   atomic.Bool   // it has its snapshot
	changes atomic.Uint64 // of alerts

	mu               sync.Mutex
	broken           string // what was not as it should be
	frames           int
	last             string
	readings, alerts []time.Duration // how old they were when they came
}

func (f *follower) follow(conn *websocket.Conn) {
	for {
		kind, body, err := conn.ReadMessage()
		if err != nil {
			return
		}
		now := f.clock()
		if kind == websocket.TextMessage {
			f.hear(body, now)
			continue
		}
		got, err := decode(body)
		if err != nil {
			f.wrong(err.Error())
		}
		f.mu.Lock()
		f.frames++
		if got.kind == 1 && len(got.dt) > 0 && len(got.dt[0]) > 0 {
			dt := got.dt[0]
			f.readings = append(f.readings, time.Duration(float64(now)-1e6*(got.base+float64(dt[len(dt)-1]))))
		}
		f.mu.Unlock()
		if conn.WriteMessage(websocket.TextMessage, fmt.Appendf(nil, `{"got":%d}`, got.number)) != nil {
			return
		}
	}
}

func (f *follower) hear(body []byte, now sample.Instant) {
	var m struct {
		Event, What string
		Alert       struct {
			Raised  time.Time `json:"raised_at"`
			Cleared time.Time `json:"cleared_at"`
		}
	}
	if err := json.Unmarshal(body, &m); err != nil {
		f.wrong(err.Error())
	}
	switch {
	case m.Event == "snapshot":
		f.ready.Store(true)
	case m.Event == "alert" && (m.What == "raised" || m.What == "cleared"):
		f.mu.Lock()
		defer f.mu.Unlock()
		if m.What == f.last {
			f.broken = m.What + " twice"
		}
		f.last = m.What
		at := m.Alert.Raised
		if m.What == "cleared" {
			at = m.Alert.Cleared
		}
		f.alerts = append(f.alerts, now.Sub(sample.At(at)))
		f.changes.Add(1)
	}
}

func (f *follower) wrong(what string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.broken = what
}

// lie says one of the things that are not so, and returns when it is sent away.
func lie(conn *websocket.Conn, kind int) {
	defer conn.Close()
	lies := []string{`{"got":4000000000}`, `{"got":0}`, `{"subscribe":{"places":"all"}}`, `{"got":`, strings.Repeat(" ", readLimit+1)}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			if _, _, err := conn.ReadMessage(); err != nil {
				return
			}
		}
	}()
	for conn.WriteMessage(websocket.TextMessage, []byte(lies[kind%len(lies)])) == nil {
		time.Sleep(time.Millisecond) // as a network would take
	}
	<-done // it was sent away already
}
