package outbox

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/notify"
	"weald/stream/record"
)

// A way is a sender that does what a test says.
type way struct {
	mu   sync.Mutex
	got  []notify.Sending
	does func(*notify.Sending) error // nil takes everything
}

func (w *way) Reaches() string { return "a test" }

func (w *way) Send(ctx context.Context, s *notify.Sending) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.got = append(w.got, *s)
	if w.does == nil {
		return nil
	}
	return w.does(s)
}

func (w *way) keys() (out []string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for i := range w.got {
		out = append(out, w.got[i].Key)
	}
	return out
}

func clock() sample.Instant { return sample.At(time.Now()) }

func event(place string, what alert.Change, state alert.State, tier int) alert.Event {
	return alert.Event{At: clock(), Key: alert.Key{Place: place, Rule: "turn-due", Subject: "bed"}, What: what, State: state,
		Tier: tier, Priority: alert.High, Value: sample.Unknown, U: sample.Unknown, Limit: sample.Unknown, Text: "not turned"}
}

func keep(t *testing.T, j journal.Log, bodies ...record.Body) {
	t.Helper()
	var entries []record.Entry
	for _, b := range bodies {
		entries = append(entries, record.Entry{At: clock(), Written: clock(), Body: b})
	}
	if _, err := j.Append(t.Context(), entries...); err != nil {
		t.Error(err)
	}
}

func specs(ids ...string) (out []notify.Spec) {
	for _, id := range ids {
		out = append(out, notify.Spec{ID: id, FollowUps: true, TestAt: -1, GiveUp: time.Hour, Most: 100})
	}
	return out
}

// begin runs an outbox until stop is called. told is what it tells of itself.
func begin(t *testing.T, j journal.Log, list []notify.Spec, ways ...Sender) (b *Outbox, told *[]alert.Event, stop func()) {
	ctx, cancel := context.WithCancel(t.Context())
	told = &[]alert.Event{}
	var mu sync.Mutex
	b = New(Options{Journal: j, Specs: list, Senders: ways, Now: clock, Zone: time.UTC, Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
		Tell: func(_ context.Context, e alert.Event) {
			mu.Lock()
			defer mu.Unlock()
			*told = append(*told, e)
		}})
	if l, ok := ways[0].(*lamp); ok {
		b.Alive = func() bool { return !l.hangs.Load() }
	}
	ended := make(chan error, 1)
	go func() { ended <- b.Run(ctx) }()
	return b, told, func() {
		cancel()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Errorf("it ended with %v", err)
		}
	}
}

func notices(t *testing.T, j journal.Log) (out []string) {
	for _, e := range journaltest.Gather(t, j.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindNotice}})) {
		if n := e.Body.(record.Notice); n.Sender != "" {
			out = append(out, n.What+" "+n.Key)
		}
	}
	return out
}

// A call is in the record before it is sent, and its outcome after that; a sender
// that hangs holds up neither the others nor the record.
func TestCallIsKeptThenSent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journaltest.Memory{}
		hang := make(chan struct{})
		desk := &way{}
		desk.does = func(s *notify.Sending) error {
			if !slices.Contains(notices(t, j), "queued "+s.Key) {
				t.Errorf("%s is sent before it is in the record", s.Key)
			}
			return nil
		}
		night := &way{does: func(*notify.Sending) error { <-hang; return nil }}
		b, _, stop := begin(t, j, specs("desk", "night"), desk, night)
		synctest.Wait()
		keep(t, j, record.Transition{Event: event("bed-4", alert.Raised, alert.Unacknowledged, 1)})
		synctest.Wait()
		keep(t, j, record.Transition{Event: event("bed-4", alert.WasAcknowledged, alert.Acknowledged, 0)})
		synctest.Wait()
		if len(desk.keys()) != 2 {
			t.Errorf("the desk has %q", desk.keys())
		}
		if got := b.Statuses(); got[0].Sent != 2 || got[1].Waiting != 2 {
			t.Errorf("%+v", got)
		}
		close(hang)
		synctest.Wait()
		stop()
		count := map[string]int{}
		for _, n := range notices(t, j) {
			count[n]++
		}
		if len(count) != 8 {
			t.Errorf("%v", count)
		}
		for n, k := range count {
			if k != 1 {
				t.Errorf("%s is %d times in the record", n, k)
			}
		}
	})
}

// Where a receiver answers nothing until the daemon ends, the next one sends the
// message again, with the same key; what was delivered is not sent again.
func TestRestartSendsWhatIsOpenAndNothingElse(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journaltest.Memory{}
		desk, night := &way{}, &way{does: func(*notify.Sending) error { return errors.New("no route") }}
		_, _, stop := begin(t, j, specs("desk", "night"), desk, night)
		synctest.Wait()
		keep(t, j, record.Transition{Event: event("bed-4", alert.Raised, alert.Unacknowledged, 1)})
		time.Sleep(10 * time.Second)
		stop()
		keep(t, j, record.Transition{Event: event("bed-5", alert.Raised, alert.Unacknowledged, 1)}) // nobody looks
		again, nightly := &way{}, &way{}
		_, _, stop = begin(t, j, specs("desk", "night"), again, nightly)
		time.Sleep(10 * time.Second)
		stop()
		if got := again.keys(); len(got) != 1 || again.got[0].Event.Place != "bed-5" {
			t.Errorf("the desk gets %q, and had %q", got, desk.keys())
		}
		if got := nightly.keys(); len(got) != 2 || got[0] != night.keys()[0] {
			t.Errorf("the night gets %q, and was tried %q", got, night.keys())
		}
	})
}

// Accepting and forgetting is what no sender can see: the alert stands, and the next
// tier is called. Nothing that a receiver says acknowledges anything.
func TestAReceiverThatForgetsDoesNotStopTheNextTier(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journaltest.Memory{}
		list := specs("desk", "second")
		list[0].Windows = []notify.Window{{Tiers: []int{1}}}
		list[1].Windows = []notify.Window{{Tiers: []int{2, 3}}}
		desk, second := &way{}, &way{}
		_, _, stop := begin(t, j, list, desk, second)
		synctest.Wait()
		life, spec := alert.Life{}, alert.Spec{EscalateAfter: 5 * time.Minute}
		base := event("bed-4", alert.Raised, "", 0)
		for _, e := range life.Hold(&spec, base, nil) {
			keep(t, j, record.Transition{Event: e})
		}
		time.Sleep(5 * time.Minute)
		for _, e := range life.Tick(&spec, base, clock(), nil) {
			keep(t, j, record.Transition{Event: e})
		}
		synctest.Wait()
		stop()
		if len(desk.got) != 1 || len(second.got) != 1 || second.got[0].Event.Tier != 2 {
			t.Errorf("%q, %q", desk.keys(), second.keys())
		}
	})
}

// That a sender is broken is in the record, told to the pipeline, and sent by the
// others; that it works again is told too.
func TestBrokenSenderIsToldByOthers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journaltest.Memory{}
		broken := true
		desk := &way{}
		desk.does = func(*notify.Sending) error {
			if broken {
				return errors.New("desk.larch:443 refuses connections")
			}
			return nil
		}
		night := &way{}
		_, told, stop := begin(t, j, specs("desk", "night"), desk, night)
		synctest.Wait()
		keep(t, j, record.Transition{Event: event("bed-4", alert.Raised, alert.Unacknowledged, 1)})
		time.Sleep(3 * time.Minute)
		stop()
		if len(*told) != 1 || (*told)[0].ID() != "~sender~desk" || (*told)[0].What != alert.Raised {
			t.Fatalf("%+v", *told)
		}
		if n := len(night.got); n != 2 || night.got[1].Event.Subject != "desk" {
			t.Errorf("the night has %q", night.keys())
		}
		desk.mu.Lock()
		broken = false
		desk.mu.Unlock()
		b, told, stop := begin(t, j, specs("desk", "night"), desk, night) // which knows that it was broken
		time.Sleep(10 * time.Minute)
		stop()
		if len(*told) != 1 || (*told)[0].What != alert.Cleared || b.Statuses()[0].Broken { // that it still was is for package selfwatch to tell
			t.Errorf("%+v", *told)
		}
	})
}

// A test is sent every day, once, also by a daemon that was down at its time; and
// when somebody asks, who hears how it went.
func TestDailyTest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) { // its clock begins at midnight UTC, 2000-01-01
		j := &journaltest.Memory{}
		list := specs("desk")
		list[0].TestAt = 8 * time.Hour
		desk := &way{}
		_, _, stop := begin(t, j, list, desk)
		time.Sleep(31 * time.Hour)
		stop()
		time.Sleep(3 * time.Hour)
		b, _, stop := begin(t, j, list, desk)
		time.Sleep(20 * time.Hour)
		if got := len(desk.keys()); got != 2 {
			t.Errorf("%d tests in two days: %q", got, desk.keys())
		}
		if err := b.Test(t.Context(), "desk"); err != nil || len(desk.keys()) != 3 {
			t.Errorf("%v, %q", err, desk.keys())
		}
		desk.mu.Lock()
		desk.does = func(*notify.Sending) error { return errors.New("no route") }
		desk.mu.Unlock()
		if err := b.Test(t.Context(), "desk"); !errors.Is(err, notify.ErrTooSoon) || len(desk.keys()) != 3 {
			t.Errorf("a second test in a minute: %v, %q", err, desk.keys())
		}
		time.Sleep(time.Minute)
		if err := b.Test(t.Context(), "desk"); err == nil || err.Error() != "no route" {
			t.Error(err)
		}
		if err := b.Test(t.Context(), "night"); !errors.Is(err, ErrNoSender) {
			t.Error(err)
		}
		stop()
	})
}

// A test that somebody asked for gives way to calls, and who asked hears of it: where
// there is no room, and where there was some until a call needed it.
func TestATestGivesWayToCalls(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		time.Sleep(time.Hour)
		j := &journaltest.Memory{}
		list := specs("desk")
		list[0].Most = 2
		hang := make(chan struct{})
		desk := &way{does: func(*notify.Sending) error { <-hang; return nil }}
		b, _, stop := begin(t, j, list, desk)
		synctest.Wait()
		keep(t, j, record.Transition{Event: event("bed-4", alert.Raised, alert.Unacknowledged, 1)})
		synctest.Wait() // it is being tried
		outcome := make(chan error, 1)
		go func() { outcome <- b.Test(t.Context(), "desk") }()
		synctest.Wait()
		keep(t, j, record.Transition{Event: event("bed-5", alert.Raised, alert.Unacknowledged, 1)})
		synctest.Wait()
		select {
		case err := <-outcome:
			if err == nil || !strings.Contains(err.Error(), "outbox full: more than 2 messages wait") {
				t.Errorf("who asked is told %v", err)
			}
		default:
			t.Error("the test was given up, and who asked still waits")
		}
		time.Sleep(2 * time.Minute)
		if err := b.Test(t.Context(), "desk"); !errors.Is(err, notify.ErrFull) {
			t.Errorf("where there is no room: %v", err)
		}
		close(hang)
		synctest.Wait()
		stop()
		if got := desk.keys(); len(got) != 2 || !strings.HasPrefix(got[0], "bed-4~") || !strings.HasPrefix(got[1], "bed-5~") {
			t.Errorf("the desk got %q, want both calls and no test", got)
		}
	})
}

// The first start over a record that was there before calls for what stands, and is
// silent about what was.
func TestFirstStartCallsForWhatStands(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journaltest.Memory{}
		keep(t, j, record.Transition{Event: event("bed-4", alert.Raised, alert.Unacknowledged, 1)},
			record.Transition{Event: event("bed-5", alert.Raised, alert.Unacknowledged, 1)},
			record.Transition{Event: event("bed-5", alert.WasAcknowledged, alert.Acknowledged, 0)})
		time.Sleep(time.Hour)
		desk := &way{}
		_, _, stop := begin(t, j, specs("desk"), desk)
		time.Sleep(10 * time.Second)
		stop()
		if got := desk.keys(); !slices.Equal(got, []string{"bed-4~turn-due~bed.1.call.desk"}) {
			t.Errorf("%q", got)
		}
	})
}

// Where the record cannot be read, that is said, and it is tried again.
func TestARecordThatCannotBeReadIsTriedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &unreadable{Memory: &journaltest.Memory{}}
		j.fails.Store(true)
		desk := &way{}
		b, _, stop := begin(t, j, specs("desk"), desk)
		time.Sleep(time.Second)
		if err := b.Down(); err == nil || b.Test(t.Context(), "desk") == nil {
			t.Error("it is not said")
		}
		j.fails.Store(false)
		keep(t, j, record.Transition{Event: event("bed-4", alert.Raised, alert.Unacknowledged, 1)})
		time.Sleep(time.Minute)
		if err := b.Down(); err != nil || len(desk.keys()) != 1 {
			t.Errorf("%v, %q", err, desk.keys())
		}
		stop()
	})
}

type unreadable struct {
	*journaltest.Memory
	fails atomic.Bool
}

func (u *unreadable) Entries(ctx context.Context, q journal.Query) iter.Seq2[record.Entry, error] {
	if u.fails.Load() {
		return func(yield func(record.Entry, error) bool) { yield(record.Entry{}, errors.New("input/output error")) }
	}
	return u.Memory.Entries(ctx, q)
}

// A record that takes nothing does not silence a sender.
func TestAFullDiskDoesNotSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &full{Memory: &journaltest.Memory{}}
		desk := &way{}
		_, _, stop := begin(t, j, specs("desk"), desk)
		synctest.Wait()
		keep(t, j.Memory, record.Transition{Event: event("bed-4", alert.Raised, alert.Unacknowledged, 1)})
		synctest.Wait()
		stop()
		if len(desk.got) != 1 {
			t.Errorf("%q", desk.keys())
		}
	})
}

type full struct{ *journaltest.Memory }

func (*full) Append(context.Context, ...record.Entry) (record.Position, error) {
	return 0, fmt.Errorf("test: %w", journal.ErrFull)
}

// A lamp shows what calls, and a failure to show it is a sender's like any other.
func TestLamp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journaltest.Memory{}
		l := &lamp{}
		b, _, stop := begin(t, j, specs("lamp"), l)
		time.Sleep(3 * time.Second)
		keep(t, j, record.Transition{Event: event("bed-4", alert.Raised, alert.Unacknowledged, 1)})
		time.Sleep(3 * time.Second)
		keep(t, j, record.Transition{Event: event("bed-4", alert.WasAcknowledged, alert.Acknowledged, 0)})
		time.Sleep(3 * time.Second)
		l.mu.Lock()
		if want := []string{"none", "high", "none"}; !slices.Equal(l.shown, want) {
			t.Errorf("%q, want %q", l.shown, want)
		}
		l.mu.Unlock()
		l.hangs.Store(true) // what is shown is of a daemon that does nothing any more
		time.Sleep(3 * time.Second)
		l.hangs.Store(false)
		time.Sleep(3 * time.Second)
		l.mu.Lock()
		if want := []string{"none", "high", "none", "gone", "none"}; !slices.Equal(l.shown, want) {
			t.Errorf("%q, want %q", l.shown, want)
		}
		l.fails = errors.New("the broker is gone")
		l.mu.Unlock()
		keep(t, j, record.Transition{Event: event("bed-4", alert.Raised, alert.Unacknowledged, 1)})
		time.Sleep(3 * time.Minute)
		if s := b.Statuses()[0]; !s.Broken || s.Trouble != "the broker is gone" {
			t.Errorf("%+v", s)
		}
		stop()
		if !l.closed {
			t.Error("the lamp was not told that the daemon goes")
		}
	})
}

type lamp struct {
	way
	shown  []string
	fails  error
	hangs  atomic.Bool // the daemon
	closed bool
}

func (l *lamp) Show(_ context.Context, p alert.Priority, alive bool) (bool, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	word := p.String()
	if !alive {
		word = "gone"
	}
	if n := len(l.shown); n > 0 && l.shown[n-1] == word {
		return false, nil
	}
	if l.fails != nil {
		return false, l.fails
	}
	l.shown = append(l.shown, word)
	return true, nil
}

func (l *lamp) Close() { l.closed = true }
