package patience

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

var errBusy = errors.New("no leader")

// Servers are asked again after a quarter of a second, each time for five seconds at most, until
// they answer; for how long that has lasted, and why, is known from the first that failed to the one that did not.
func TestAskUntilTheyAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var w Wait
		var at []time.Duration
		began := time.Now()
		err := Ask(t.Context(), &w, func(ctx context.Context) error {
			at = append(at, time.Since(began))
			switch lasts, why := w.Lasts(); {
			case len(at) == 1 && (lasts != 0 || why != nil):
				t.Errorf("before the first answer nobody has answered for %v: %v", lasts, why)
			case len(at) == 3 && (lasts != RetryAfter+AnswerWithin+RetryAfter || !errors.Is(why, context.DeadlineExceeded)):
				t.Errorf("nobody has answered for %v: %v", lasts, why)
			}
			switch len(at) {
			case 1:
				return errBusy
			case 2:
				<-ctx.Done() // in silence
				return ctx.Err()
			}
			return nil
		})
		want := []time.Duration{0, RetryAfter, RetryAfter + AnswerWithin + RetryAfter}
		if err != nil || fmt.Sprint(at) != fmt.Sprint(want) {
			t.Errorf("asked at %v, and should have been at %v: %v", at, want, err)
		}
		if lasts, why := w.Lasts(); lasts != 0 || why != nil {
			t.Errorf("after the answer nobody has answered for %v: %v", lasts, why)
		}
	})
}

// What asking again cannot change is told at once, as it is, and so is what a try ends with; a
// caller whose context ends is told why it ended, at that moment.
func TestAskNoLonger(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		for _, last := range []error{
			nats.ErrConnectionClosed, nats.ErrMaxPayload, nats.ErrBadSubject, jetstream.ErrJetStreamNotEnabled,
			fmt.Errorf("asked: %w", jetstream.ErrJetStreamNotEnabledForAccount), End(errBusy), fmt.Errorf("in vain: %w", End(errBusy)),
		} {
			var w Wait
			w.Note(errBusy)
			tries := 0
			err := Ask(t.Context(), &w, func(context.Context) error { tries++; return last })
			if tries != 1 || !errors.Is(err, last) && !errors.Is(err, errBusy) || errors.As(err, new(*ending)) {
				t.Errorf("%v is tried %d times, and told as %v", last, tries, err)
			}
			if lasts, _ := w.Lasts(); lasts != 0 {
				t.Errorf("%v: it is waited for", last)
			}
		}
		if took := time.Since(began); took != 0 {
			t.Errorf("that took %v", took)
		}
		why := errors.New("the daemon ends")
		ctx, stop := context.WithCancelCause(t.Context())
		time.AfterFunc(7*time.Second, func() { stop(why) })
		if err := Ask(ctx, nil, func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() }); !errors.Is(err, why) || time.Since(began) != 7*time.Second {
			t.Errorf("after %v it is told %v", time.Since(began), err)
		}
	})
}

// A silent server is one that sends nothing within what it is asked for, for so many times, and then what it is told to.
type silent struct {
	jetstream.MessagesContext
	times int
	then  error
	told  func()
}

func (s *silent) Next(...jetstream.NextOpt) (jetstream.Msg, error) {
	if s.told != nil {
		s.told()
	}
	if s.times--; s.times >= 0 {
		return nil, nats.ErrTimeout
	}
	return nil, s.then
}

// Without a connection nobody says anything, and that is noted; a message ends it, and so does nothing else
// but the end of answering, which is told.
func TestSilenceWithoutAConnection(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var w Wait
		s := &silent{times: 3, told: func() { time.Sleep(time.Second) }}
		if _, err := Next(&nats.Conn{}, s, &w); err != nil {
			t.Error(err)
		}
		if lasts, why := w.Lasts(); lasts != 0 || why != nil {
			t.Errorf("after a message: silence for %v, %v", lasts, why)
		}
		s = &silent{times: 3, then: nats.ErrNoHeartbeat, told: func() { time.Sleep(time.Second) }}
		if _, err := Next(&nats.Conn{}, s, &w); !errors.Is(err, nats.ErrNoHeartbeat) {
			t.Errorf("who does not answer any more is told as %v", err)
		}
		if lasts, why := w.Lasts(); lasts != 3*time.Second || !errors.Is(why, nats.ErrDisconnected) {
			t.Errorf("silence for %v, %v", lasts, why)
		}
		if _, err := Next(&nats.Conn{}, &silent{times: 1, then: nats.ErrNoHeartbeat}, nil); err == nil {
			t.Error("nobody wants to know, and it is not told")
		}
	})
}
