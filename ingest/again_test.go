package ingest

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// A brokered link delivers what it has no receipt of again, and says so, as MQTT does.
type brokered struct{ conn *brokeredConn }

type delivery struct {
	message []byte
	again   bool
}

type brokeredConn struct {
	in     chan delivery
	closed chan struct{}
	last   delivery
}

func (l *brokered) Name() string { return "brokered" }

func (l *brokered) Open(context.Context) (io.ReadCloser, error) {
	l.conn = &brokeredConn{in: make(chan delivery, 10000), closed: make(chan struct{})}
	return l.conn, nil
}

func (c *brokeredConn) Whole() bool { return true }
func (c *brokeredConn) Again() bool { return c.last.again }

func (c *brokeredConn) Read(p []byte) (int, error) {
	select {
	case d, ok := <-c.in:
		if !ok {
			return 0, io.EOF
		}
		c.last = d
		return copy(p, d.message), nil
	case <-c.closed:
		return 0, errors.New("closed by us")
	}
}

func (c *brokeredConn) Close() error { close(c.closed); return nil }

// What a broker has no receipts of it delivers again after the connection was lost,
// also more than 256 frames, and also after a start of the daemon: every frame is
// handed on once, whatever the device did meanwhile. So it is from a capture.
func TestWhatABrokerDeliversAgainCountsOnce(t *testing.T) {
	const sent, more = 600, 100
	for name, boots := range map[string][]int{"without a reboot": {0}, "with a reboot": {0, 300}, "with two": {0, 200, 450}} {
		var messages [][]byte
		for i := range sent + more {
			n := i
			for _, from := range boots {
				if i >= from {
					n = i - from
				}
			}
			b, err := frame.AppendPacked(nil, &frame.Frame{Kind: frame.Readings, Source: 1, Seq: uint32(n), Millis: uint32(50 * n), Readings: []float64{float64(i), 20}}, frame.U16)
			if err != nil {
				t.Fatal(err)
			}
			messages = append(messages, b)
		}
		heard := sample.Lately{}
		file := filepath.Join(t.TempDir(), "hub.wcap")
		lived := 0
		run := func(what string, delivers func(r *rig, l *brokered), want int) {
			l := &brokered{}
			behind := func(Link) Bridge {
				b := twoLegs(l)
				b.Format = Format{Kind: Packed}
				b.Sources[1].Rate, b.Sources[1].Heard = 20, heard.Last("")
				b.Capture = file
				return b
			}
			bubble(t, behind, func(r *rig) {
				delivers(r, l)
				taken := map[float64]int{}
				for _, s := range r.scans() {
					if taken[s.Values[0]]++; taken[s.Values[0]] == 2 {
						t.Errorf("%s, %s: frame %v was taken twice", name, what, s.Values[0])
					}
					heard.Hear("", &s)
				}
				if lived = max(lived, len(taken)); len(taken) != want {
					t.Errorf("%s, %s: %d frames were taken, want %d", name, what, len(taken), want)
				}
				if s := r.sup.Status().Sources[1]; s.Repeats != sent || s.Gaps != 0 {
					t.Errorf("%s, %s: %d repeats and %d gaps, want %d and none", name, what, s.Repeats, s.Gaps, sent)
				}
			})
		}
		deliver := func(r *rig, l *brokered, messages [][]byte, again bool, every time.Duration) {
			for _, m := range messages {
				l.conn.in <- delivery{m, again}
				r.pass(every)
			}
		}
		run("in one life", func(r *rig, l *brokered) {
			deliver(r, l, messages[:sent], false, 50*time.Millisecond)
			close(l.conn.in)
			r.pass(time.Second)
			deliver(r, l, messages[:sent], true, time.Millisecond)
			deliver(r, l, messages[sent:sent+more/2], true, time.Millisecond) // as may well be said of what never came
		}, sent+more/2)
		recording, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		played, b := 0, twoLegs(nil)
		b.Format, b.Sources[1].Rate = Format{Kind: Packed}, 20
		if _, err := playAll(t.Context(), b, bytes.NewReader(recording), PlayOptions{Capture: true}, func(*sample.Scan) { played++ }); err != nil || played != lived {
			t.Errorf("%s, from the capture: %d frames were taken, want %d; %v", name, played, lived, err)
		}
		run("after a start", func(r *rig, l *brokered) {
			r.pass(40 * time.Second)
			deliver(r, l, messages[more/2:sent+more/2], true, time.Millisecond)
			deliver(r, l, messages[sent+more/2:], false, 50*time.Millisecond)
		}, more/2)
	}
}
