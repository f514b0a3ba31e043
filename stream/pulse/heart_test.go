package pulse

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
	"weald/stream/notify/notifytest"
	"weald/stream/notify/webhook"
)

func clock() sample.Instant { return sample.At(time.Now()) }

// pass lets time pass, and what is due in it happen.
func pass(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

// A way notes the beats that reach it, and when.
type way struct {
	mu     sync.Mutex
	began  time.Time
	got    []uint64
	at     []time.Duration
	fails  error
	closed bool
}

func (w *way) Beat(_ context.Context, b Beat) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.fails != nil {
		return w.fails
	}
	w.got, w.at = append(w.got, b.Number), append(w.at, time.Since(w.began))
	return nil
}

func (w *way) Close() { w.closed = true }

// A loop that hangs while hung is not nil, and else answers at once.
type loop struct {
	mu   sync.Mutex
	hung chan struct{}
}

func (l *loop) turn(ctx context.Context) error {
	l.mu.Lock()
	hung := l.hung
	l.mu.Unlock()
	if hung == nil {
		return nil
	}
	select {
	case <-hung:
		return nil
	case <-ctx.Done():
		return errors.New("the loop does not turn")
	}
}

func (l *loop) hang(hung chan struct{}) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.hung = hung
}

// Beats come at their intervals while the loop turns, none while it hangs, and again
// when it is back, with the number that says how many were held back.
func TestNoBeatWithoutAProof(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var said bytes.Buffer
		w, l := &way{began: time.Now()}, &loop{}
		h := &Heart{Name: "test", Every: time.Minute, Proofs: []Proof{l.turn}, Way: w, Now: clock, Log: slog.New(slog.NewTextHandler(&said, nil))}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- h.Run(ctx) }()
		pass(2*time.Minute + time.Second)
		if len(w.got) != 3 || w.at[0] != 0 || w.at[2] != 2*time.Minute {
			t.Errorf("in two minutes beats %v came at %v; want three, a minute apart", w.got, w.at)
		}
		hung := make(chan struct{})
		l.hang(hung)
		pass(time.Hour)
		if len(w.got) != 3 {
			t.Errorf("a loop that hung for an hour sent beats %v", w.got[3:])
		}
		if s := h.Status(); !s.Held || s.Trouble == "" || s.Taken.Time() != w.began.Add(2*time.Minute).UTC() {
			t.Errorf("held back, and the status is %+v", s)
		}
		l.hang(nil)
		close(hung)
		pass(time.Minute)
		if n := w.got[len(w.got)-1]; len(w.got) < 4 || n < 62 {
			t.Errorf("after an hour of silence beats are numbered %v; want those that were held back counted", w.got)
		}
		cancel()
		<-ended
		if n := strings.Count(said.String(), "\n"); n != 2 || !strings.Contains(said.String(), "start it again") || !strings.Contains(said.String(), "go out again") {
			t.Errorf("an hour of silence was logged in %d lines, want its beginning and its end:\n%s", n, said.String())
		}
		if !w.closed {
			t.Error("the way was not closed")
		}
	})
}

// A receiver that fails is a trouble of its own, and no reason to hold anything back.
func TestABeatThatIsNotTaken(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := &way{fails: errors.New("desk refuses connections")}
		h := &Heart{Name: "test", Every: time.Minute, Way: w, Now: clock, Log: slog.New(slog.DiscardHandler)}
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		go h.Run(ctx)
		pass(90 * time.Second)
		if s := h.Status(); s.Held || s.Trouble != w.fails.Error() || s.Taken != sample.Past || clock().Sub(s.Since) != 90*time.Second {
			t.Errorf("%+v", s)
		}
		w.mu.Lock()
		w.fails = nil
		w.mu.Unlock()
		pass(time.Minute)
		if s := h.Status(); s.Trouble != "" || s.Since != sample.Past || clock().Sub(s.Taken) != 30*time.Second {
			t.Errorf("%+v", s)
		}
	})
}

// What has not had a beat gets older, and young again with one.
func TestGlow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := NewGlow()
		pass(time.Minute)
		if g.Age() != time.Minute {
			t.Errorf("after a minute it is %v old", g.Age())
		}
		if g.Beat(t.Context(), Beat{}); g.Age() != 0 {
			t.Errorf("after a beat it is %v old", g.Age())
		}
	})
}

// A beat is signed as messages about alerts are; what the signature is was held to
// other programs in package webhook.
func TestABeatIsSigned(t *testing.T) {
	var header http.Header
	var body []byte
	srv := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		header = r.Header.Clone()
		body, _ = io.ReadAll(r.Body)
	}))
	defer srv.Close()
	h := &Hook{webhook.Hook{URL: srv.URL, Secret: notifytest.Secret(t, "p1anted-of-a-heart")}}
	b := Beat{Number: 7, At: 1772366401e9, Every: time.Minute}
	if err := h.Beat(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	var got Body
	if err := json.Unmarshal(body, &got); err != nil || got.About != "heartbeat" || got.Number != 7 || got.Every != 60 || got.Key != header.Get("Idempotency-Key") {
		t.Errorf("%v: %s", err, body)
	}
	if header.Get("Weald-Signature") != webhook.Sign("p1anted-of-a-heart", 1772366401, body) {
		t.Errorf("the signature is %q", header.Get("Weald-Signature"))
	}
}
