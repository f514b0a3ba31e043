package live

import (
	"testing"
	"testing/synctest"
	"time"
)

// What one viewer was told says nothing about another: each hears of every view
// that differs from the last one it has.
func TestViewerIsNotLeftWithAnOldView(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		told := func(m *message) string {
			place := m.text["place"]
			if places, ok := m.text["places"].([]any); ok {
				place = places[0]
			}
			return place.(map[string]any)["text"].(string)
		}
		const wish = `{"subscribe":{"places":["bed-1"]}}`
		first := w.dial(nil)
		say(t, first, wish)
		w.until(first, "snapshot")
		w.mat(0)
		empty := told(w.until(first, "place"))
		first.Close()
		time.Sleep(12 * time.Second) // nobody looks, and the mat falls silent

		second := w.dial(w.thin(1 << 24))
		say(t, second, wish)
		if silent := told(w.until(second, "snapshot")); silent == empty {
			t.Fatalf("in silence the bed says %q", silent)
		}
		w.mat(0) // at once as it was when the first viewer was told
		if got := told(w.until(second, "place")); got != empty {
			t.Errorf("with readings again the second viewer is told %q, want %q", got, empty)
		}

		say(t, second, wish) // the same, for a view that changes between snapshot and look
		w.until(second, "snapshot")
		time.Sleep(5 * time.Second)
		say(t, second, wish)
		if silent := told(w.until(second, "snapshot")); silent == empty {
			t.Fatalf("in silence the bed says %q", silent)
		}
		w.mat(0)
		if got := told(w.until(second, "place")); got != empty {
			t.Errorf("after another subscription it is told %q, want %q", got, empty)
		}
	})
}

// The view in a snapshot is told already.
func TestViewerIsNotToldWhatItsSnapshotHas(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		conn := w.dial(nil)
		say(t, conn, `{"subscribe":{"places":["bed-1"]}}`)
		w.until(conn, "snapshot")
		for beats := 0; beats < 3; {
			m, err := w.next(conn)
			if err != nil {
				t.Fatal(err)
			}
			switch m.text["event"] {
			case "beat":
				beats++
			case "place":
				t.Fatalf("told again: %s", m.raw)
			}
		}
	})
}

// A view that was made for a former subscription is older than the snapshot of
// the new one.
func TestViewsOfAFormerSubscriptionAreDropped(t *testing.T) {
	former, present := new(subscription), new(subscription)
	w := waitingPlaces{body: make([][]byte, 1)}
	w.begin(former)
	w.put(former, 0, []byte("waiting"))
	w.begin(present)
	w.put(former, 0, []byte("on its way"))
	if got := w.take(); len(got) != 0 {
		t.Errorf("%q", got)
	}
	w.put(present, 0, []byte("new"))
	if got := w.take(); len(got) != 1 || string(got[0]) != "new" {
		t.Errorf("%q, want the new one", got)
	}
}

func TestViewerWhoseHandlerPanicsIsForgotten(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		w.hub.Store = nil // the next wish for readings finds a bug
		conn := w.dial(nil)
		w.until(conn, "hello")
		if n := w.hub.Clients(); n != 1 {
			t.Fatalf("%d viewers, want one", n)
		}
		say(t, conn, `{"subscribe":{"signals":["*"]}}`)
		for {
			if _, err := w.next(conn); err != nil {
				break
			}
		}
		synctest.Wait()
		if n := w.hub.Clients(); n != 0 {
			t.Errorf("%d viewers are counted after the only one is gone", n)
		}
	})
}
