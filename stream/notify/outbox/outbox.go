package outbox

import (
	"context"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/backlog"
	"weald/stream/notify"
	"weald/stream/record"
)

// A Sender is a way to somebody.
type Sender interface {
	// Send tries to deliver a message until ctx ends. Its error is a
	// *notify.Refusal if the receiver will never take it; the text of any error
	// is for people, is kept, and holds no secret.
	Send(ctx context.Context, s *notify.Sending) error

	// Reaches says whither, for people and without a secret.
	Reaches() string
}

// A Shower is a Sender that also shows how things stand, such as by a lamp.
type Shower interface {
	// Show makes sure that the highest priority of what calls is shown, 0 for
	// nothing, or else that the daemon does not do its work, and says whether it had
	// to do anything for that. It is called about once a second.
	Show(ctx context.Context, p alert.Priority, alive bool) (did bool, err error)

	// Close ends what Show holds open.
	Close()
}

// Options are what New needs.
type Options struct {
	Journal journal.Log
	Specs   []notify.Spec
	Senders []Sender // one for each of Specs
	Now     func() sample.Instant
	Zone    *time.Location
	Log     *slog.Logger

	// Tell is told of the outbox's own alerts: that a sender does not get through.
	Tell func(context.Context, alert.Event)

	// Alive says whether the daemon does its work, so that what is shown is of now;
	// nil for always.
	Alive func() bool
}

const (
	patience   = 30 * time.Second // for one attempt
	glance     = time.Second      // how often is looked for what time alone makes due
	markEvery  = 10 * time.Second // how often it is noted how far changes were looked at
	firstSight = 30 * 24 * time.Hour
	again      = 10 * time.Second // after the record could not be read
)

// An Outbox is all senders of a daemon.
type Outbox struct {
	Options
	seen atomic.Pointer[[]notify.Status]
	down atomic.Pointer[error]
	late backlog.Queue // what waits for a record that is out of reach

	mu     sync.Mutex // guards the desk, until what it decided is kept; and all below
	desk   *notify.Desk
	asked  map[string]chan error // by key: who waits for the outcome of a test
	marked record.Position
	when   time.Time // of the newest mark
	ready  bool

	kick []chan struct{} // by sender: something is to be sent
}

// New returns an outbox that has not begun.
func New(o Options) *Outbox {
	b := &Outbox{Options: o, late: backlog.Queue{Log: o.Journal}, desk: notify.NewDesk(o.Specs, o.Zone, o.Now()), asked: map[string]chan error{}}
	for range o.Specs {
		b.kick = append(b.kick, make(chan struct{}, 1))
	}
	b.publish()
	return b
}

// Statuses returns how senders fare, in the order of Specs. It waits for nothing.
func (b *Outbox) Statuses() []notify.Status { return *b.seen.Load() }

func (b *Outbox) publish() {
	list := make([]notify.Status, len(b.Specs))
	for i := range list {
		list[i] = b.desk.Status(i)
	}
	b.seen.Store(&list)
}

// Run sends until ctx ends. Attempts that are under way end then, and are made again
// after the next start. Where the record cannot be read, it says so and begins anew a
// little later: what judges must not end for what sends.
func (b *Outbox) Run(ctx context.Context) error {
	defer b.last(ctx)
	for {
		err := b.once(ctx)
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		b.Log.Error("nothing is sent", slog.Any("error", err), slog.String("do", "it is tried again every ten seconds; weald doctor reads the record"))
		b.down.Store(&err)
		b.mu.Lock()
		b.desk, b.ready = notify.NewDesk(b.Specs, b.Zone, b.Now()), false
		b.mu.Unlock()
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-time.After(again):
		}
	}
}

// Down returns why nothing is sent at all; nil if that is not so.
func (b *Outbox) Down() error {
	if err := b.down.Load(); err != nil {
		return *err
	}
	return nil
}

func (b *Outbox) once(ctx context.Context) error {
	b.keepLate(ctx) // or messages whose outcome waits would be sent again
	pos, err := b.resume(ctx)
	if err != nil {
		return err
	}
	b.down.Store(nil)
	group, ctx := errgroup.WithContext(ctx)
	for i := range b.Specs {
		group.Go(func() error { return b.work(ctx, i) })
	}
	group.Go(func() error { return b.follow(ctx, pos) })
	group.Go(func() error { return b.catchUp(ctx) })
	return group.Wait()
}

// follow reads the record from after pos on.
func (b *Outbox) follow(ctx context.Context, pos record.Position) error {
	for {
		for e, err := range journal.Readable(b.Journal.Entries(ctx, journal.Query{From: pos + 1}), b.lost) {
			if err != nil {
				return err
			}
			pos = e.Position
			if ev, ok := notify.ChangeOf(&e); ok {
				b.decide(ctx, func() []record.Notice { return b.desk.Change(e.Position, &ev, b.Now()) })
			}
		}
		b.decide(ctx, func() []record.Notice { return append(b.desk.Due(b.Now()), b.mark()...) })
		soon, cancel := context.WithTimeout(ctx, glance)
		err := b.Journal.Wait(soon, pos)
		cancel()
		switch {
		case ctx.Err() != nil:
			return context.Cause(ctx)
		case err != nil && soon.Err() == nil:
			return err
		}
	}
}

func (b *Outbox) lost(l *journal.Loss) {
	b.Log.Error("the record has a loss where messages were looked for", slog.String("what", l.Error()), slog.String("do", "look at the alerts of that time on the pages; weald doctor reads the record"))
}

// mark notes now and then how far changes were looked at. The caller holds mu.
func (b *Outbox) mark() []record.Notice {
	if b.desk.Through() <= b.marked || time.Since(b.when) < markEvery {
		return nil
	}
	return b.desk.Mark()
}

// decide lets the desk decide and keeps what it decided.
func (b *Outbox) decide(ctx context.Context, f func() []record.Notice) {
	b.mu.Lock()
	b.keep(ctx, f())
	faults := b.faults(ctx)
	b.publish()
	b.mu.Unlock()
	for i := range b.kick {
		select {
		case b.kick[i] <- struct{}{}:
		default:
		}
	}
	for _, e := range faults {
		b.Tell(ctx, e)
	}
}

// keep puts notices into the record. The caller holds mu.
func (b *Outbox) keep(ctx context.Context, notices []record.Notice) {
	if len(notices) == 0 {
		return
	}
	now := b.Now()
	entries := make([]record.Entry, len(notices))
	for i, n := range notices {
		entries[i] = record.Entry{At: now, Written: now, Body: n}
		if n.Event != nil {
			entries[i].Place = n.Event.Place
		}
		b.marked, b.when = max(b.marked, n.Through), time.Now()
		if n.What == notify.GivenUp {
			b.answer(n.Key, fmt.Errorf("%s: %s", n.Sender, n.Why)) // a test that waited for its first attempt
			b.Log.Error("a message was given up", slog.String("sender", n.Sender), slog.String("key", n.Key), slog.String("why", n.Why),
				slog.String("do", "see to the alert that it is of, and try the way: weald notify test"))
		}
	}
	b.put(ctx, entries)
}

// faults keeps what has become of senders' health. The caller holds mu.
func (b *Outbox) faults(ctx context.Context) (events []alert.Event) {
	now := b.Now()
	for i := range b.Specs {
		f, changed := b.desk.Health(i, now)
		if !changed {
			continue
		}
		if f.Over {
			b.Log.Info(f.Text)
		} else {
			b.Log.Warn(f.Text)
		}
		b.put(ctx, []record.Entry{{At: now, Written: now, Body: f}})
		if e, ok := f.Alert(now); ok {
			events = append(events, e)
		}
	}
	return events
}

// work sends what one sender has to send.
func (b *Outbox) work(ctx context.Context, i int) error {
	shower, _ := b.Senders[i].(Shower)
	if shower != nil {
		defer shower.Close()
	}
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		wait := glance
		if s, next := b.pick(i); s != nil {
			b.attempt(ctx, i, s)
			wait = 0
		} else {
			wait = min(wait, max(time.Millisecond, next.Sub(b.Now())))
		}
		if shower != nil && ctx.Err() == nil {
			b.show(ctx, i, shower)
		}
		timer.Reset(wait)
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-b.kick[i]:
		case <-timer.C:
		}
	}
}

func (b *Outbox) pick(i int) (*notify.Sending, sample.Instant) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.desk.Pick(i, b.Now())
}

func (b *Outbox) attempt(ctx context.Context, i int, s *notify.Sending) {
	limited, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	err := b.Senders[i].Send(limited, s)
	if err != nil && ctx.Err() != nil {
		return // nobody knows; the next start tries again
	}
	if err != nil {
		b.Log.Warn("a message was not delivered", slog.String("sender", s.Sender), slog.String("key", s.Key), slog.Any("error", err),
			slog.String("do", "it is tried again by itself; if that lasts, see whether the way there is open: weald doctor"))
	}
	b.decide(ctx, func() []record.Notice {
		b.answer(s.Key, err)
		return b.desk.Done(i, s.Key, err, b.Now(), rand.Float64())
	})
}

// answer tells who asked for a test how its first attempt went. The caller holds mu.
func (b *Outbox) answer(key string, outcome error) {
	if waits, ok := b.asked[key]; ok {
		waits <- outcome
		delete(b.asked, key)
	}
}

// show lets a lamp show how things stand, unless its sender pauses.
func (b *Outbox) show(ctx context.Context, i int, shower Shower) {
	b.mu.Lock()
	now := b.Now()
	p := b.desk.Level(i, now)
	pauses := b.desk.Pauses(i, now)
	b.mu.Unlock()
	if pauses {
		return
	}
	limited, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	if did, err := shower.Show(limited, p, b.Alive == nil || b.Alive()); (did || err != nil) && ctx.Err() == nil {
		b.decide(ctx, func() []record.Notice {
			b.desk.Report(i, err, b.Now(), rand.Float64())
			return nil
		})
	}
}
