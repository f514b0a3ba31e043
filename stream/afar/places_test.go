package afar

import (
	"context"
	"encoding/json"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"weald/stream/journal/replicated/natstest"
	"weald/stream/view"
)

// How places are comes to whoever asks, in the ward's order, while somebody answers; what was
// heard long ago is not known any more, and says when it was; of another configuration nothing
// of the former one stays.
func TestPlacesAreAskedFor(t *testing.T) {
	t.Parallel()
	c := natstest.Serve(t, 1)
	var ahead atomic.Int64
	w := New(func() time.Time { return time.Now().Add(time.Duration(ahead.Load())) })
	ctx, stop := context.WithCancel(t.Context())
	var asking sync.WaitGroup
	defer asking.Wait()
	defer stop()
	asking.Go(func() { _ = w.Ask(ctx, c.Connect(), "larch") })
	if places := w.Look().Places; places == nil || len(places) != 0 || w.Answers() {
		t.Errorf("before anybody answers: %v", places)
	}
	seventy := 70.0
	place := func(id string) view.Place {
		return view.Place{ID: id, Kind: "wrap", State: view.StateQuiet, Text: "ankle 70 mmHg", Signals: map[string]view.Signal{"ankle.pressure": {Value: &seventy, Unit: "mmHg"}}}
	}
	asked := atomic.Int64{}
	conn := c.Connect()
	answer, err := Answer(conn, "larch", func() ([]view.Place, *Unkept) {
		asked.Add(1)
		return []view.Place{place("bench-2"), place("bench-1")}, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	other, err := Answer(c.Connect(), "rowan", func() ([]view.Place, *Unkept) { return []view.Place{place("bench-3")}, nil })
	if err != nil {
		t.Fatal(err)
	}
	defer other()
	c.Eventually("no places come", func() bool { return len(w.Look().Places) == 2 })
	places := w.Look().Places
	if !w.Answers() {
		t.Error("who answers is not heard")
	}
	if places[0].ID != "bench-2" || places[1].ID != "bench-1" || *places[1].Signals["ankle.pressure"].Value != 70 || places[1].Text != "ankle 70 mmHg" {
		t.Errorf("they come as %+v", places)
	}
	answer()
	heard := w.Look().Places[1].HeardAt
	ahead.Store(int64(heardFor + 2*time.Second))
	c.Eventually("what nobody says any more is known", func() bool {
		p := w.Look().Places
		return len(p) == 2 && p[1].State == view.StateUnknown && len(p[1].Signals) == 0 && p[1].ID == "bench-1" && !p[1].HeardAt.Before(heard) && !w.Answers()
	})
	ahead.Store(0)
	again, err := Answer(conn, "larch", func() ([]view.Place, *Unkept) { return []view.Place{place("bench-9")}, nil })
	if err != nil {
		t.Fatal(err)
	}
	c.Eventually("places stay that are gone", func() bool { p := w.Look().Places; return len(p) == 1 && p[0].ID == "bench-9" })
	again()
	before := asked.Load()
	stop()
	asking.Wait()
	time.Sleep(3 * askEvery / 2)
	if asked.Load() != before {
		t.Error("a ward is asked by nobody")
	}
}

// What means nothing is taken for nothing.
func TestOddPlaces(t *testing.T) {
	w := New(time.Now)
	for _, s := range []shown{{0, 0, view.Place{ID: "a"}, nil}, {-1, 2, view.Place{ID: "a"}, nil}, {2, 2, view.Place{ID: "a"}, nil}, {0, mostPlaces + 1, view.Place{ID: "a"}, nil}, {0, 1, view.Place{}, nil}} {
		b, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		w.hear(b)
	}
	w.hear(nil)
	w.hear([]byte(`{"index":"x"}`))
	if places := w.Look().Places; len(places) != 0 {
		t.Errorf("they are %+v", places)
	}
}
