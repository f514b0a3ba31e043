package ble

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"testing"
	"time"

	"weald/ingest/ble/bluez"
)

// ways are the two in which BlueZ hands over notifications.
var ways = []struct {
	name    string
	acquire bool
}{{"socket", true}, {"signals", false}}

// eachWay runs f with a ward for each of them.
func eachWay(t *testing.T, f func(t *testing.T, w *ward)) {
	for _, way := range ways {
		t.Run(way.name, func(t *testing.T) { f(t, newWard(t, way.acquire)) })
	}
}

func TestEveryNotificationInOrder(t *testing.T) {
	const n = 5000
	for _, way := range ways {
		t.Run(way.name, func(t *testing.T) {
			w := newWard(t, way.acquire)
			c := open(t, w.link(t, Config{Address: padAddress}))
			if (c.socket != nil) != way.acquire {
				t.Fatalf("through a socket: %v", c.socket != nil)
			}
			sent := make([][]byte, n)
			for i := range sent {
				sent[i] = packed(t, uint32(i))
			}
			go func() {
				for _, b := range sent {
					w.frames.Notify(b)
				}
			}()
			p := make([]byte, 64<<10)
			for i, want := range sent {
				got, err := c.Read(p)
				if err != nil {
					t.Fatalf("after %d: %v", i, err)
				}
				if !bytes.Equal(p[:got], want) {
					t.Fatalf("notification %d is %x, want %x", i, p[:got], want)
				}
				if i%50 == 0 {
					time.Sleep(200 * time.Microsecond) // a reader that is busy now and then
				}
			}
		})
	}
}

func TestNotificationsBeforeADropAreRead(t *testing.T) {
	eachWay(t, func(t *testing.T, w *ward) {
		c := open(t, w.link(t, Config{Address: padAddress}))
		for i := range 40 {
			w.frames.Notify(packed(t, uint32(i)))
		}
		w.pad.Drop()
		got, err := readErr(t, c)
		wants(t, err, ErrDropped)
		if len(got) != 40 {
			t.Errorf("%d notifications, want all 40", len(got))
		}
	})
}

func TestAnEmptyNotificationIsNoMessageAndNoEnd(t *testing.T) {
	eachWay(t, func(t *testing.T, w *ward) {
		c := open(t, w.link(t, Config{Address: padAddress}))
		w.frames.Notify([]byte{})
		w.frames.Notify([]byte{7})
		if got := message(t, c); !bytes.Equal(got, []byte{7}) {
			t.Errorf("read %x, want 07", got)
		}
	})
}

func TestANotificationThatDoesNotFitIsAnError(t *testing.T) {
	eachWay(t, func(t *testing.T, w *ward) {
		c := open(t, w.link(t, Config{Address: padAddress}))
		w.frames.Notify(make([]byte, 30))
		if n, err := c.Read(make([]byte, 29)); err == nil {
			t.Errorf("read %d bytes of 30 without an error", n)
		}
	})
}

func TestOwnCloseEndsARead(t *testing.T) {
	eachWay(t, func(t *testing.T, w *ward) {
		c := open(t, w.link(t, Config{Address: padAddress}))
		time.AfterFunc(20*time.Millisecond, func() { c.Close() })
		_, err := readErr(t, c)
		wants(t, err, os.ErrClosed)
		if errors.Is(err, ErrDropped) {
			t.Errorf("our own Close looks like a drop: %v", err)
		}
		if err := c.Close(); err != nil {
			t.Errorf("closing again: %v", err)
		}
		eventually(t, "the peripheral is free for others", func() bool { return !w.pad.Connected() })
	})
}

func TestAReaderThatStopsEndsTheLink(t *testing.T) {
	w := newWard(t, false)
	c := open(t, w.link(t, Config{Address: padAddress}))
	for i := range queued + 10 {
		w.frames.Notify(packed(t, uint32(i)))
	}
	eventually(t, "the link is given up", func() bool {
		select {
		case <-c.ended:
			return true
		default:
			return false
		}
	})
	got, err := readErr(t, c)
	wants(t, err, ErrBehind)
	if len(got) != queued {
		t.Errorf("%d notifications were kept, want %d", len(got), queued)
	}
	c.Close()
	if w.pad.Connected() {
		t.Error("the peripheral stays connected")
	}
}

// Subscriptions must not pile up over reconnections: a stream that arrives
// twice is a source that repeats every frame.
func TestNoStreamIsDoubledByReconnecting(t *testing.T) {
	eachWay(t, func(t *testing.T, w *ward) {
		l := w.link(t, Config{Address: padAddress})
		before := openFiles(t)
		for round := range uint32(5) {
			c := open(t, l)
			if n := w.frames.Listeners(); n != 1 {
				t.Fatalf("connection %d: %d subscriptions", round, n)
			}
			for i := range uint32(20) {
				want := packed(t, 100*round+i)
				w.frames.Notify(want)
				if got := message(t, c); !bytes.Equal(got, want) {
					t.Fatalf("connection %d: %x, want %x", round, got, want)
				}
			}
			if round%2 == 0 {
				w.pad.Drop()
				if got, err := readErr(t, c); len(got) > 0 {
					t.Fatalf("connection %d: %d more notifications, then %v", round, len(got), err)
				}
			}
			if err := c.Close(); err != nil {
				t.Fatal(err)
			}
			eventually(t, "no subscription is left", func() bool { return w.frames.Listeners() == 0 })
		}
		eventually(t, "no socket is left", func() bool { return openFiles(t) <= before })
	})
}

// openFiles counts the descriptors of this process.
func openFiles(t *testing.T) int {
	t.Helper()
	files, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Skipf("descriptors cannot be counted here: %v", err)
	}
	return len(files)
}

// A peripheral that indicates, and one whose notifications another program has
// as signals already, cannot be had through a socket.
func TestSignalsWhereASocketIsRefused(t *testing.T) {
	t.Run("indications", func(t *testing.T) {
		w := newWard(t, true, func(w *ward) { w.frames.Flags = []string{"indicate"} })
		c := open(t, w.link(t, Config{Address: padAddress}))
		w.frames.Notify([]byte{1})
		if got := message(t, c); !bytes.Equal(got, []byte{1}) {
			t.Errorf("read %x, want 01", got)
		}
	})
	t.Run("shared", func(t *testing.T) {
		w := newWard(t, true)
		w.pad.Remember()
		const pad = "/org/bluez/hci0/dev_C4_2D_5E_00_10_7F"
		const char = pad + "/service0001/char0002"
		bus, err := bluez.Dial(t.Context(), w.bus)
		if err != nil {
			t.Fatal(err)
		}
		defer bus.Close()
		if err := bus.Connect(t.Context(), pad); err != nil {
			t.Fatal(err)
		}
		eventually(t, "the other program listens", func() bool { return bus.Subscribe(t.Context(), char) == nil })
		c := open(t, w.link(t, Config{Address: padAddress}))
		if c.socket != nil {
			t.Error("a socket was taken from the other program")
		}
		w.frames.Notify([]byte{1})
		if got := message(t, c); !bytes.Equal(got, []byte{1}) {
			t.Errorf("read %x, want 01", got)
		}
		c.Close()
		eventually(t, "the other program alone listens", func() bool { return w.frames.Listeners() == 1 })
		if !w.pad.Connected() {
			t.Error("the other program lost its peripheral")
		}
	})
}

func TestTwoLinksTwoPeripherals(t *testing.T) {
	w := newWard(t, true)
	second, frames := newPad("C4:2D:5E:00:10:80", false)
	w.bluez.Add(second)
	a := open(t, w.link(t, Config{Address: padAddress}))
	b := open(t, w.link(t, Config{Address: second.Address}))
	for i := range uint32(200) {
		w.frames.Notify(packed(t, i))
		frames.Notify(packed(t, 1000+i))
	}
	for i := range uint32(200) {
		for _, side := range []struct {
			c   *Conn
			seq uint32
		}{{a, i}, {b, 1000 + i}} {
			if got := message(t, side.c); !bytes.Equal(got, packed(t, side.seq)) {
				t.Fatalf("%s: %x, want frame %d", side.c.name, got, side.seq)
			}
		}
	}
}

func ExampleConfig_Problems() {
	c := Config{Address: "pad 3", Characteristic: "0x2A6", Pressure: &Pressure{Is: Absolute}}
	for _, p := range c.Problems() {
		fmt.Println(p)
	}
	// Output:
	// address: "pad 3" is no Bluetooth address; one looks like C4:2D:5E:00:10:7F
	// characteristic: "0x2A6" is no UUID: write 32 hexadecimal digits with dashes, or an assigned number such as 0x180F
	// pressure.ambient_hpa: an absolute pressure needs that of ambient air, 500 to 1100 hPa
}
