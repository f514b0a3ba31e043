package live

import (
	"encoding/json"
	"reflect"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
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
		w.subscribe(first, wish)
		w.mat(0)
		empty := told(w.until(first, "place"))
		first.Close()
		time.Sleep(12 * time.Second) // nobody looks, and the mat falls silent

		second := w.dial(w.thin(1 << 24))
		if silent := told(w.subscribe(second, wish)); silent == empty {
			t.Fatalf("in silence the bed says %q", silent)
		}
		w.mat(0) // at once as it was when the first viewer was told
		if got := told(w.until(second, "place")); got != empty {
			t.Errorf("with readings again the second viewer is told %q, want %q", got, empty)
		}

		w.subscribe(second, wish) // the same, for a view that changes between snapshot and look
		time.Sleep(5 * time.Second)
		if silent := told(w.subscribe(second, wish)); silent == empty {
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
		w.subscribe(conn, `{"subscribe":{"places":["bed-1"]}}`)
		if again := w.views(conn, 3); len(again) > 0 {
			t.Fatalf("told again: %s", again)
		}
	})
}

// A viewer of a whole ward can do without the numbers of its places.
func TestBareViewsHaveNoSignals(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		signals := func(wish string) (inSnapshot, later int) {
			conn := w.dial(nil)
			say(t, conn, wish)
			w.leg(40)
			var first snapshot
			var next placeEvent
			if err := json.Unmarshal(w.until(conn, "snapshot").raw, &first); err != nil {
				t.Fatal(err)
			}
			w.leg(70)
			if err := json.Unmarshal(w.until(conn, "place").raw, &next); err != nil {
				t.Fatal(err)
			}
			if first.Places[0].Signals == nil || next.Place.Text == "" {
				t.Errorf("%s: signals %v, text %q", wish, first.Places[0].Signals, next.Place.Text)
			}
			return len(first.Places[0].Signals), len(next.Place.Signals)
		}
		if a, b := signals(`{"subscribe":{"places":["bench-1"],"bare":true}}`); a != 0 || b != 0 {
			t.Errorf("a bare view has %d signals at first and %d later", a, b)
		}
		if a, b := signals(`{"subscribe":{"places":["bench-1"]}}`); a < 24 || b < 24 {
			t.Errorf("a whole view has %d signals at first and %d later, want those of 24 sites", a, b)
		}
	})
}

// Over a link that is too thin for its views a viewer hears late of a place, unless
// it can take them compressed.
func TestViewsOverAThinLinkComeCompressed(t *testing.T) {
	latest := func(packs bool) (late time.Duration) {
		synctest.Test(t, func(t *testing.T) {
			w := newWard(t)
			w.packs = packs
			conn := w.dial(w.thin(2000))
			w.subscribe(conn, `{"subscribe":{"places":["bench-1"]}}`)
			begun := w.clock.Now()
			w.running.Go(func() {
				for i := range 30 {
					w.leg(50 + 20*float64(i%2))
					time.Sleep(time.Second)
				}
			})
			for w.clock.Now().Sub(begun) < 29*time.Second {
				var told placeEvent
				m := w.until(conn, "place")
				if err := json.Unmarshal(m.raw, &told); err != nil {
					t.Fatal(err)
				}
				// The first views show how thin the link is.
				if m.at.Sub(begun) > 10*time.Second {
					late = max(late, m.at.Sub(sample.At(*told.Place.At)))
				}
			}
		})
		return late
	}
	whole, packed := latest(false), latest(true)
	t.Logf("whole views come %v late, compressed ones %v", whole, packed)
	if packed > whole/2 {
		t.Errorf("compressed views come %v late, whole ones %v: want less than half of it", packed, whole)
	}
}

// A view that was made for a former subscription is older than the snapshot of
// the new one.
func TestViewsOfAFormerSubscriptionAreDropped(t *testing.T) {
	former, present := new(subscription), new(subscription)
	w := waitingPlaces{of: make([]*told, 1)}
	w.begin(former)
	was, is := new(told), new(told)
	w.put(former, 0, was)
	w.begin(present)
	w.put(former, 0, was)
	if _, got := w.take(present); got != nil {
		t.Error("one of the former subscription")
	}
	w.put(present, 0, is)
	if _, got := w.take(former); got != nil {
		t.Error("one of a subscription whose snapshot has not been sent")
	}
	if _, got := w.take(present); got != is {
		t.Errorf("%v, want the new one", got)
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

// A viewer who wants news is told what it takes to have every view as others have it,
// in fewer events, and no more of it than has changed.
func TestNewsMakeTheViewsOfOthers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWardOf(t, ruled())
		conn, other := w.dial(nil), w.dial(nil)
		say(t, conn, `{"subscribe":{"places":"all","bare":true,"news":true}}`)
		say(t, other, `{"subscribe":{"places":"all","bare":true}}`)
		var first snapshot
		if err := json.Unmarshal(w.until(conn, "snapshot").raw, &first); err != nil {
			t.Fatal(err)
		}
		w.until(other, "snapshot")
		known := make(map[string]map[string]any) // by place: fields, of which holds by their rule
		learn := func(place map[string]any) {
			id := place["id"].(string)
			if known[id] == nil {
				known[id] = map[string]any{"holds": map[string]any{}}
			}
			for name, value := range place {
				if name != "holds" {
					known[id][name] = value
					continue
				}
				for _, h := range value.([]any) {
					h := h.(map[string]any)
					known[id]["holds"].(map[string]any)[h["rule"].(string)] = h
				}
			}
		}
		for _, p := range first.Places {
			var place map[string]any
			if err := json.Unmarshal(encode(p), &place); err != nil {
				t.Fatal(err)
			}
			learn(place)
		}
		news, whole := 0, 0
		for i := range 5 {
			w.only(i, 70) // one hold begins to count in each second
			time.Sleep(time.Second)
			m := w.until(conn, "places")
			news += len(m.raw)
			for _, p := range m.text["places"].([]any) {
				learn(p.(map[string]any))
			}
			m = w.until(other, "place")
			whole += len(m.raw)
			place := m.text["place"].(map[string]any)
			holds := map[string]any{}
			for _, h := range place["holds"].([]any) {
				holds[h.(map[string]any)["rule"].(string)] = h
			}
			place["holds"] = holds
			if mine := known[place["id"].(string)]; !reflect.DeepEqual(mine, place) {
				t.Fatalf("after %d s news make\n%v\nand the view is\n%v", i+1, mine, place)
			}
		}
		t.Logf("%d bytes of news, %d of views", news, whole)
		if news > whole/2 {
			t.Errorf("%d bytes of news, where whole views have %d: want less than half", news, whole)
		}
	})
}
