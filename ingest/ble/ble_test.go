package ble

import (
	"errors"
	"io"
	"testing"
	"time"

	"go.uber.org/goleak"

	"weald/ingest/ble/standin"
	"weald/ingest/frame"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// The seam to the supervisor, as it states it.
var (
	_ interface{ Whole() bool } = (*Conn)(nil)
	_ io.ReadCloser             = (*Conn)(nil)
)

const padAddress = "C4:2D:5E:00:10:7F"

// soon is the patience of tests, on a machine with other things to do.
var soon = limits{
	scan: 10 * time.Second, settle: 100 * time.Millisecond, connect: 10 * time.Second,
	resolve: 10 * time.Second, ask: 10 * time.Second, goodbye: 10 * time.Second,
}

// A ward is a message bus, a stand-in, and one pad in the air.
type ward struct {
	bus    string
	bluez  *standin.BlueZ
	pad    *standin.Peripheral
	frames *standin.Characteristic
}

// newWard starts one. The pad is as make leaves it.
func newWard(t *testing.T, acquire bool, make ...func(*ward)) *ward {
	t.Helper()
	w := &ward{bus: standin.StartBus(t)}
	w.bluez = standin.Start(t, w.bus)
	w.pad, w.frames = newPad(padAddress, acquire)
	for _, change := range make {
		change(w)
	}
	w.bluez.Add(w.pad)
	return w
}

// newPad is a pad as its firmware should make it, and its frames.
func newPad(address string, acquire bool) (*standin.Peripheral, *standin.Characteristic) {
	frames := &standin.Characteristic{UUID: FramesUUID, Flags: []string{"notify"}, Acquire: acquire}
	return &standin.Peripheral{
		Address: address, Name: "Larch pad 3", RSSI: -61, Advertises: []string{ServiceUUID},
		Services: []*standin.Service{{UUID: ServiceUUID, Characteristics: []*standin.Characteristic{frames}}},
	}, frames
}

// link makes a link on the ward's bus.
func (w *ward) link(t *testing.T, c Config) *Link {
	t.Helper()
	c.Bus = w.bus
	l, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	l.limits = soon
	return l
}

// open opens l and sees to it that it is closed.
func open(t *testing.T, l *Link) *Conn {
	t.Helper()
	c, err := l.Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c.(*Conn)
}

// readErr reads until there is an error, and returns what came before.
func readErr(t *testing.T, c io.Reader) (got [][]byte, err error) {
	t.Helper()
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			p := make([]byte, 64<<10)
			n, readErr := c.Read(p)
			if readErr != nil {
				err = readErr
				return
			}
			got = append(got, p[:n])
		}
	}()
	select {
	case <-done:
	case <-time.After(10 * time.Second):
		t.Fatal("reads go on 10 s after the end")
	}
	return got, err
}

// message reads one.
func message(t *testing.T, c io.Reader) []byte {
	t.Helper()
	type result struct {
		p   []byte
		err error
	}
	done := make(chan result, 1)
	go func() {
		p := make([]byte, 64<<10)
		n, err := c.Read(p)
		done <- result{p[:n], err}
	}()
	select {
	case r := <-done:
		if r.err != nil {
			t.Fatal(r.err)
		}
		return r.p
	case <-time.After(10 * time.Second):
		t.Fatal("no notification within 10 s")
		return nil
	}
}

// packed returns a frame of four readings.
func packed(t *testing.T, seq uint32) []byte {
	t.Helper()
	f := frame.Frame{Kind: frame.Readings, Source: 3, Seq: seq, Millis: 100 * seq, Readings: []float64{float64(seq % 4096), 1, 2, 3}}
	b, err := frame.AppendPacked(nil, &f, frame.U12)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// eventually waits for something that happens on another goroutine.
func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); !ok(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("not within 10 s: %s", what)
		}
	}
}

// wants fails the test unless err wraps want.
func wants(t *testing.T, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Errorf("got %v, want an error that wraps %q", err, want)
	}
}
