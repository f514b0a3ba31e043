package selfwatch

import (
	"cmp"
	"context"
	"log/slog"
	"math"
	"slices"
	"sync/atomic"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/backlog"
	"weald/stream/record"
)

// Options are what New needs.
type Options struct {
	Settings []Setting // for each of Kinds

	// Probes tell the number of a kind, by its id; NaN for not known. They are called
	// one after the other and must return at once. A kind without one is off.
	Probes map[string]func() float64

	Senders []string    // the ids of those there are
	Journal journal.Log // nil keeps nothing
	Now     func() sample.Instant
	Log     *slog.Logger

	Every time.Duration // how often is looked, in host time; 0 for 5 s

	// Tell tells people; its error means that it could not, and it is called again.
	Tell func(context.Context, alert.Event) error
}

// tellWithin is how long telling may take: a loop that hangs must not keep anybody from
// looking.
const tellWithin = 2 * time.Second

// A Watcher looks, and keeps and tells what a Watch finds.
type Watcher struct {
	Options
	settings []Setting // those without a probe are off
	watch    *Watch
	untold   []alert.Event
	late     backlog.Queue // what is to be kept
	said     bool          // that it waits
	shown    atomic.Pointer[[]Condition]
}

// New returns a watcher that has taken up what the record says. It starts nothing. It
// must be called before anything else writes faults into the record.
func New(ctx context.Context, o Options) (*Watcher, error) {
	w := &Watcher{Options: o, settings: slices.Clone(o.Settings)}
	for k := range w.settings {
		w.settings[k].Off = w.settings[k].Off || o.Probes[Kinds[k].ID] == nil
	}
	w.watch = NewWatch(w.settings)
	w.publish()
	if o.Journal == nil {
		return w, nil
	}
	w.late.Log, w.late.Within = o.Journal, keepWithin
	return w, w.take(ctx)
}

// Conditions returns how all kinds stand, in the order of Kinds. Any goroutine may ask;
// nobody may change what it gets.
func (w *Watcher) Conditions() []Condition { return *w.shown.Load() }

func (w *Watcher) publish() {
	all := w.watch.Conditions()
	w.shown.Store(&all)
}

// Run looks until ctx ends, and returns the cause of that.
func (w *Watcher) Run(ctx context.Context) error {
	ticker := time.NewTicker(cmp.Or(w.Every, 5*time.Second))
	defer ticker.Stop()
	for {
		w.look(ctx)
		select {
		case <-ticker.C:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

func (w *Watcher) look(ctx context.Context) {
	values := make([]float64, len(Kinds))
	for k := range values {
		values[k] = math.NaN()
		if !w.settings[k].Off {
			values[k] = w.Probes[Kinds[k].ID]()
		}
	}
	now := w.Now()
	for _, c := range w.watch.Look(now, values) {
		w.note(ctx, now, &c)
		w.untold = append(w.untold, c.event())
	}
	w.publish()
	w.keep(ctx)
	for len(w.untold) > 0 {
		limited, cancel := context.WithTimeout(ctx, tellWithin)
		err := w.Tell(limited, w.untold[0])
		cancel()
		if err != nil {
			return // with the next look
		}
		w.untold = w.untold[1:]
	}
}

// note says a change in the log, and that it is to be kept.
func (w *Watcher) note(ctx context.Context, now sample.Instant, c *Change) {
	level := slog.LevelWarn
	if c.Fault.Over {
		level = slog.LevelInfo
	}
	w.Log.Log(ctx, level, c.Fault.Text)
	if w.Journal != nil && !w.late.Push(record.Entry{At: c.At, Written: now, Body: c.Fault}) {
		w.unkept(journal.ErrUnreached)
	}
}

// unkept says that a change is not kept.
func (w *Watcher) unkept(err error) {
	w.Log.Error("an alert of the daemon's own was not kept, so that no sender sends it", slog.Any("error", err),
		slog.String("do", "make room on the disk, or see whether the servers of the log can be reached"))
}

// keepWithin is how long keeping may take: a record that is out of reach must not keep
// anybody from looking and telling.
const keepWithin = 2 * time.Second

// keep puts changes into the record, which senders go by. On a disk that is full to its
// reserve they are told all the same, and while the record is out of reach they wait.
func (w *Watcher) keep(ctx context.Context) {
	err := w.late.Drain(context.WithoutCancel(ctx), w.unkept)
	if err != nil && !w.said {
		w.Log.Warn("alerts of the daemon's own are told, and wait to be kept, so that no sender sends them yet", slog.Any("error", err), slog.String("do", "see whether the servers of the log can be reached"))
	}
	w.said = err != nil
}
