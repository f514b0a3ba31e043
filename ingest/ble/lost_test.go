package ble

import (
	"bytes"
	"testing"

	"weald/ingest/ble/bluez"
)

// A link must tell why it was lost, and must work again once the reason is gone.
func TestLostAndFoundAgain(t *testing.T) {
	for _, way := range ways {
		for _, c := range []struct {
			name       string
			lose, mend func(*ward)
			is         error
		}{
			{"remote drop", func(w *ward) { w.pad.Drop() }, func(*ward) {}, ErrDropped},
			{"walked away", func(w *ward) { w.pad.Away(true) }, func(w *ward) { w.pad.Away(false) }, ErrDropped},
			{"adapter gone", func(w *ward) { w.bluez.Unplug("hci0") }, func(w *ward) { w.bluez.Plug("hci0") }, ErrAdapterGone},
			{"adapter off", func(w *ward) { w.bluez.Power("hci0", false) }, func(w *ward) { w.bluez.Power("hci0", true) }, ErrAdapterGone},
			{"BlueZ gone", func(w *ward) { w.bluez.Stop() }, func(w *ward) { w.bluez.Run() }, bluez.ErrStopped},
			{"BlueZ restarted", func(w *ward) { w.bluez.Stop(); w.bluez.Run() }, func(w *ward) {}, bluez.ErrStopped},
		} {
			t.Run(c.name+" by "+way.name, func(t *testing.T) {
				w := newWard(t, way.acquire)
				l := w.link(t, Config{Address: padAddress})
				conn := open(t, l)
				w.frames.Notify(packed(t, 1))
				if got := message(t, conn); !bytes.Equal(got, packed(t, 1)) {
					t.Fatalf("before: %x", got)
				}
				c.lose(w)
				got, err := readErr(t, conn)
				if len(got) > 0 {
					t.Errorf("%d notifications that nobody sent", len(got))
				}
				wants(t, err, c.is)
				if _, again := readErr(t, conn); again == nil || again.Error() != err.Error() {
					t.Errorf("the next read says %v, the first said %v", again, err)
				}
				if err := conn.Close(); err != nil {
					t.Errorf("closing what is lost: %v", err)
				}
				c.mend(w)
				conn = open(t, l)
				w.frames.Notify(packed(t, 2))
				if got := message(t, conn); !bytes.Equal(got, packed(t, 2)) {
					t.Errorf("after: %x", got)
				}
			})
		}
	}
}

// While the adapter is out, another one must not be taken in its place unless
// none was named.
func TestAnotherAdapterIsNotTakenUnasked(t *testing.T) {
	w := newWard(t, true)
	w.bluez.Plug("hci1")
	named := w.link(t, Config{Address: padAddress, Adapter: "hci0"})
	open(t, named).Close()
	w.bluez.Unplug("hci0")
	_, err := named.Open(t.Context())
	wants(t, err, ErrNoAdapter)
	open(t, w.link(t, Config{Address: padAddress}))
}
