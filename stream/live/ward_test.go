package live

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"log"
	"math"
	"net"
	"net/http"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/history"
	"weald/stream/hostclock"
	"weald/stream/pipeline"
	"weald/stream/view"
)

// A ward is a whole daemon without bridges, for one test in a bubble: a wrap
// with 24 channels and a bed with 32 x 64 cells.
type ward struct {
	t     *testing.T
	clock *hostclock.Clock
	pipe  *pipeline.Pipeline
	hub   *Hub
	conns pipeListener
	packs bool // viewers offer to take compressed messages

	stop    context.CancelFunc // what ends the daemon
	running sync.WaitGroup     // everything that ends with the test
}

func plan() *rules.Plan {
	above := 60.0
	p := &rules.Plan{
		Sources: []rules.Source{
			{ID: "trolley/leg", Channels: 24, StaleAfter: time.Second, Calibrated: true},
			{ID: "hub/mat1", Channels: 32 * 64, StaleAfter: time.Second, Calibrated: true},
		},
		Places: []rules.Place{
			{ID: "bench-1", Kind: rules.Wrap},
			{ID: "bed-1", Kind: rules.Bed, Mat: &rules.Mat{Source: 1, Rows: 32, Columns: 64, PitchMM: [2]float64{25, 25}, LoadedAbove: 20}},
		},
		Rules: []rules.Rule{{
			ID: "tight", Priority: alert.Medium, ForgetAfter: rules.DefaultForgetAfter,
			Limit: &rules.Limit{Watch: "s00.pressure", Above: &above},
		}},
	}
	for i := range 24 {
		id := "s" + string(rune('0'+i/10)) + string(rune('0'+i%10))
		p.Places[0].Sites = append(p.Places[0].Sites, rules.Site{ID: id, Channels: []rules.Channel{{Source: 0, Index: i}}})
	}
	return p
}

// ruled is plan with a rule for each site.
func ruled() *rules.Plan {
	plan := plan()
	for i := 1; i < 24; i++ {
		r, limit := plan.Rules[0], *plan.Rules[0].Limit
		limit.Watch = plan.Places[0].Sites[i].ID + ".pressure"
		r.ID, r.Limit = "tight-"+plan.Places[0].Sites[i].ID, &limit
		plan.Rules = append(plan.Rules, r)
	}
	return plan
}

func newWard(t *testing.T) *ward { return newWardOf(t, plan()) }

func newWardOf(t *testing.T, plan *rules.Plan) *ward {
	w := &ward{t: t, clock: hostclock.New(1), conns: make(pipeListener)}
	w.pipe = pipeline.New(pipeline.Options{Plan: plan, Clock: w.clock, Views: view.New(plan, nil, time.UTC)})
	store := history.New(len(plan.Places), w.pipe.Series)
	w.pipe.Follow(store)
	places := make([]Place, len(plan.Places))
	for i, p := range plan.Places {
		if places[i].ID = p.ID; p.Mat != nil {
			places[i].Rows, places[i].Columns = p.Mat.Rows, p.Mat.Columns
		}
	}
	w.hub = New(Options{
		Places: places, Pipeline: w.pipe, Store: store, Clock: w.clock, Version: "test",
	})
	w.pipe.Follow(w.hub)

	server := &http.Server{Handler: w.hub, ErrorLog: log.New(io.Discard, "", 0)}
	ctx, stop := context.WithCancel(context.Background())
	w.stop = stop
	w.running.Go(func() { w.pipe.Run(ctx) })
	w.running.Go(func() { w.hub.Run(ctx) })
	w.running.Go(func() { server.Serve(w.conns) })
	t.Cleanup(func() {
		stop()
		server.Close()
		w.running.Wait()
	})
	return w
}

// leg feeds one reading of the wrap: v on the first channel, v/2 on the others.
func (w *ward) leg(v float64) {
	s := &sample.Scan{Source: 0, At: w.clock.Now(), Arrived: w.clock.Now(), Values: make([]float64, 24)}
	for i := range s.Values {
		s.Values[i] = v / 2
	}
	s.Values[0] = v
	w.put(s)
}

// only feeds one reading of the wrap: v on that channel, nothing on the others.
func (w *ward) only(channel int, v float64) {
	s := &sample.Scan{Source: 0, At: w.clock.Now(), Arrived: w.clock.Now(), Values: make([]float64, 24)}
	s.Values[channel] = v
	w.put(s)
}

// mat feeds one reading of the bed, with v in every cell but the first, which
// is unknown.
func (w *ward) mat(v float64) {
	s := &sample.Scan{Source: 1, At: w.clock.Now(), Arrived: w.clock.Now(), Values: make([]float64, 32*64)}
	for i := range s.Values {
		s.Values[i] = v
	}
	s.Values[0] = math.NaN()
	w.put(s)
}

func (w *ward) put(s *sample.Scan) {
	if err := w.pipe.Put(context.Background(), s); err != nil {
		w.t.Error(err)
	}
}

// feed plays both sources until the test ends: the wrap 50 times a second and
// the bed 10 times.
func (w *ward) feed() {
	done := make(chan struct{})
	var feeding sync.WaitGroup
	feeding.Go(func() {
		ticker := time.NewTicker(20 * time.Millisecond)
		defer ticker.Stop()
		for i := 0; ; i++ {
			select {
			case <-ticker.C:
				w.leg(40)
				if i%5 == 0 {
					w.mat(30)
				}
			case <-done:
				return
			}
		}
	})
	w.t.Cleanup(func() { close(done); feeding.Wait() })
}

// dial connects a viewer. link is given the daemon's end and the viewer's; nil
// means that they are joined directly, without any buffer.
func (w *ward) dial(link func(daemon, viewer net.Conn)) *websocket.Conn {
	conn, _, err := w.knock(link)
	if err != nil {
		w.t.Fatal(err)
	}
	w.t.Cleanup(func() { conn.Close() })
	return conn
}

// knock is dial, but may be refused.
func (w *ward) knock(link func(daemon, viewer net.Conn)) (*websocket.Conn, *http.Response, error) {
	daemon, viewer := net.Pipe()
	if link != nil {
		far, near := net.Pipe()
		link(viewer, far)
		viewer = near
	}
	w.conns <- daemon
	dialer := websocket.Dialer{
		NetDialContext: func(context.Context, string, string) (net.Conn, error) { return viewer, nil },
		Subprotocols:   []string{Protocol},

		EnableCompression: w.packs,
	}
	return dialer.Dial("ws://weald.test/live", http.Header{"Origin": {"http://weald.test"}})
}

// A pipeListener hands out the connections that are put into it.
type pipeListener chan net.Conn

func (l pipeListener) Accept() (net.Conn, error) {
	c, ok := <-l
	if !ok {
		return nil, net.ErrClosed
	}
	return c, nil
}
func (l pipeListener) Close() error   { close(l); return nil }
func (l pipeListener) Addr() net.Addr { return &net.TCPAddr{} }

// thin joins two ends by a link that carries so many bytes a second to the
// viewer, with a large buffer in front, as a kernel and a network have.
func (w *ward) thin(bytesPerSecond int) func(daemon, viewer net.Conn) {
	return func(daemon, viewer net.Conn) {
		buffer := make(chan []byte, 1<<16)
		w.running.Go(func() {
			defer close(buffer)
			for {
				b := make([]byte, 1400)
				n, err := daemon.Read(b)
				if err != nil {
					return
				}
				buffer <- b[:n]
			}
		})
		w.running.Go(func() {
			defer viewer.Close()
			for b := range buffer {
				time.Sleep(time.Duration(len(b)) * time.Second / time.Duration(bytesPerSecond))
				if _, err := viewer.Write(b); err != nil {
					daemon.Close()
					for range buffer {
					}
					return
				}
			}
		})
		w.running.Go(func() {
			io.Copy(daemon, viewer)
			daemon.Close()
		})
	}
}

// A message is what a viewer was told, text or frame.
type message struct {
	at   sample.Instant // when it had arrived
	text map[string]any
	raw  []byte // of the text
	frame
}

// A frame is a decoded binary frame.
type frame struct {
	kind, flags byte
	number      uint32
	base        float64 // ms
	streams     []uint16
	dt          [][]int32
	values      [][]float32

	rows, columns int
	scale         float32
	cells         []uint16
}

// next reads one message; nil at the end of the connection.
func (w *ward) next(conn *websocket.Conn) (*message, error) {
	kind, body, err := conn.ReadMessage()
	if err != nil {
		return nil, err
	}
	m := &message{at: w.clock.Now(), raw: body}
	if kind == websocket.TextMessage {
		return m, json.Unmarshal(body, &m.text)
	}
	m.frame, err = decode(body)
	return m, err
}

// decode is a viewer's decoder, written from PROTOCOL.md.
func decode(b []byte) (frame, error) {
	short := errors.New("a frame that is too short")
	if len(b) < 16 {
		return frame{}, short
	}
	f := frame{kind: b[0], flags: b[1], number: le.Uint32(b[4:]), base: math.Float64frombits(le.Uint64(b[8:]))}
	n := int(le.Uint16(b[2:]))
	b = b[16:]
	if f.kind != 1 {
		if len(b) < 12 {
			return f, short
		}
		f.streams = []uint16{le.Uint16(b)}
		f.rows, f.columns = int(le.Uint16(b[2:])), int(le.Uint16(b[4:]))
		f.scale = math.Float32frombits(le.Uint32(b[8:]))
		for b = b[12:]; len(b) >= 2; b = b[2:] {
			f.cells = append(f.cells, le.Uint16(b))
		}
		if len(f.cells) != f.rows*f.columns {
			return f, short
		}
		return f, nil
	}
	for range n {
		if len(b) < 4 {
			return f, short
		}
		id, count := le.Uint16(b), int(le.Uint16(b[2:]))
		if b = b[4:]; len(b) < 8*count {
			return f, short
		}
		var dt []int32
		var values []float32
		for i := range count {
			dt = append(dt, int32(le.Uint32(b[4*i:])))
			values = append(values, math.Float32frombits(le.Uint32(b[4*count+4*i:])))
		}
		f.streams, f.dt, f.values = append(f.streams, id), append(f.dt, dt), append(f.values, values)
		b = b[8*count:]
	}
	if len(b) > 0 {
		return f, errors.New("a frame that is too long")
	}
	return f, nil
}

const everything = `{"subscribe":{"places":"all","signals":["*.pressure","*.peak","*.mean","*.area","*.load","*.used/*"],"maps":["bed-1"]}}`

func say(t *testing.T, conn *websocket.Conn, text string) {
	t.Helper()
	if err := conn.WriteMessage(websocket.TextMessage, []byte(text)); err != nil {
		t.Fatal(err)
	}
}
