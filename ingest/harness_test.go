package ingest

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// fakeLink is a link in memory. What is sent while nobody has it open is lost.
type fakeLink struct {
	mu    sync.Mutex
	fails error // of Open
	whole bool
	conn  *fakeConn
	opens []time.Time
}

func (l *fakeLink) Name() string { return "fake" }

func (l *fakeLink) Open(context.Context) (io.ReadCloser, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.opens = append(l.opens, time.Now())
	if l.fails != nil {
		return nil, l.fails
	}
	l.conn = &fakeConn{in: make(chan []byte, 1000), closed: make(chan struct{}), whole: l.whole}
	return l.conn, nil
}

func (l *fakeLink) set(err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.fails = err
}

func (l *fakeLink) send(p []byte) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.conn != nil {
		l.conn.in <- p
	}
}

// hangUp ends the connection as the other side would.
func (l *fakeLink) hangUp() {
	l.mu.Lock()
	defer l.mu.Unlock()
	close(l.conn.in)
	l.conn = nil
}

type fakeConn struct {
	in     chan []byte
	rest   []byte
	closed chan struct{}
	whole  bool
}

func (c *fakeConn) Whole() bool { return c.whole }

func (c *fakeConn) Read(p []byte) (int, error) {
	if len(c.rest) == 0 {
		select {
		case b, ok := <-c.in:
			if !ok {
				return 0, io.EOF
			}
			c.rest = b
		case <-c.closed:
			return 0, errors.New("closed by us")
		}
	}
	n := copy(p, c.rest)
	c.rest = c.rest[n:]
	return n, nil
}

// Close takes a while where messages are whole, on the clock of a bubble: whoever
// reads meanwhile still can.
func (c *fakeConn) Close() error {
	if c.whole {
		time.Sleep(time.Millisecond)
	}
	close(c.closed)
	return nil
}

// twoLegs is a line bridge with two sources of two channels at 10/s.
func twoLegs(l Link) Bridge {
	source := func(n uint16, id string) Source {
		return Source{Number: n, ID: "trolley/" + id, Index: int(n), Channels: 2, Rate: 10, StaleAfter: time.Second, Unit: calib.MMHg}
	}
	return Bridge{ID: "trolley", Link: l, Format: Format{Kind: Line}, Sources: []Source{source(0, "left"), source(1, "right")}}
}

// A rig runs a Supervisor within a synctest bubble.
type rig struct {
	t    *testing.T
	link *fakeLink
	sup  *Supervisor
	seq  uint32
	log  bytes.Buffer // read it after synctest.Wait only

	mu   sync.Mutex
	kept []sample.Scan // guarded by mu
}

// running runs a supervisor in virtual time, until cancel; ended waits for its end.
func running(t *testing.T, sup *Supervisor) (cancel, ended func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- sup.Run(ctx) }()
	synctest.Wait()
	return cancel, func() {
		t.Helper()
		if err := <-done; err != nil {
			t.Errorf("Run returned %v", err)
		}
	}
}

// bubble runs f with a supervised bridge in virtual time.
func bubble(t *testing.T, b func(Link) Bridge, f func(r *rig)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		r := &rig{t: t, link: &fakeLink{}}
		began := time.Now()
		var err error
		r.sup, err = New(b(r.link), Options{
			Now: func() sample.Instant { return sample.At(began).Add(time.Since(began)) },
			Log: slog.New(slog.NewTextHandler(&r.log, nil)),
			Out: func(s *sample.Scan) {
				c := *s
				c.Values = append([]float64(nil), s.Values...)
				r.mu.Lock()
				defer r.mu.Unlock()
				r.kept = append(r.kept, c)
			},
		})
		if err != nil {
			t.Fatal(err)
		}
		cancel, ended := running(t, r.sup)
		f(r)
		cancel()
		ended()
		if s := r.sup.Status().State; s != Stopped && s != Ended {
			t.Errorf("after Run the state is %s", s)
		}
	})
}

// line sends a line frame of a source with the readings, and lets 100 ms pass.
func (r *rig) line(source uint16, readings ...float64) {
	r.t.Helper()
	b, err := frame.AppendLine(nil, &frame.Frame{
		Kind: frame.Readings, Source: source, Seq: r.seq, Millis: 100 * r.seq, Readings: readings,
	})
	if err != nil {
		r.t.Fatal(err)
	}
	r.seq++
	r.link.send(b)
	r.pass(100 * time.Millisecond)
}

// lossy sends n line frames of two sources, and before each so-many-th a damaged one.
func (r *rig) lossy(n, every int) {
	r.t.Helper()
	for i := range n {
		if i%every == 0 {
			r.link.send([]byte("w1,0,1,1,2*00\r\n"))
		}
		r.line(uint16(i%2), 40, 20)
	}
}

// trickle sends bytes within five seconds, in fifty parts at the most.
func (r *rig) trickle(b []byte) {
	for part := range slices.Chunk(b, len(b)/50+1) {
		r.link.send(part)
		r.pass(100 * time.Millisecond)
	}
}

// scans returns what came out so far.
func (r *rig) scans() []sample.Scan {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.kept)
}

// pass lets time pass.
func (r *rig) pass(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

// sampleNow is the daemon's clock.
func sampleNow(r *rig) sample.Instant { return r.sup.opts.Now() }
