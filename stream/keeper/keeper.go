package keeper

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/backlog"
	"weald/stream/record"
)

// How often things are kept.
const (
	readingsEvery  = time.Second
	snapshotsEvery = time.Minute
)

// A Keeper is a pipeline.Recorder over a journal. The pipeline's goroutine calls
// its Recorder methods; Run, on another, writes once a second.
type Keeper struct {
	journal journal.Journal
	plan    *rules.Plan
	now     func() sample.Instant
	log     *slog.Logger
	reviver *Reviver        // owned by the pipeline's goroutine
	config  uint64          // version of the configuration in force
	share   int             // shareHolds, but for tests
	heard   sample.Lately   // owned by the pipeline's goroutine
	newest  sample.Instant  // arrival of all scans; owned by the pipeline's goroutine
	changes record.Position // of the newest change of an alert, or an entry behind which all others are; owned by the pipeline's goroutine
	packed  int             // bytes of the last snapshot's body; owned by the pipeline's goroutine

	// Within is how long the record may take for one call; 0 for as long as it takes.
	Within time.Duration

	away atomic.Bool   // the last that was given to it did not get there in time
	late backlog.Queue // what waits for it

	// Tell, if it is set before Run, is told of the keeper's own alert: that
	// readings are not kept.
	Tell func(context.Context, alert.Event)

	writing sync.Mutex // held while something is being written, so that it is in order

	open  []open   // by source: what was kept of a block that may grow; guarded by writing
	ends  []int    // by source: with how many scans its block ends; guarded by writing
	doubt bool     // it is not known what became of the last writing; guarded by writing
	slow  slowness // Run's own

	mu      sync.Mutex
	blocks  []record.Block // by source; guarded by mu, as is all below
	ticks   []record.Tick
	pending int            // scans and ticks
	holds   int            // readings that are pending
	room    room           // for how much may be pending
	barrier uint64         // ordinal up to which ticks stay as they are
	lost    uint64         // scans that were given up
	gone    loss           // of them, those since readings stopped being kept
	failing bool           // the last writing of readings failed
	failed  sample.Instant // when that began
	trouble string         // why, in plain words
	kept    sample.Instant // Condition.Kept
	passed  chan struct{}  // closed, and made anew, when all that waited is on the disk
	spare   spares[float64]
	counts  spares[uint16]
}

// New returns a Keeper for the sources and places of plan, which goes on where r
// has taken the record up. The live run converts by reviver.Applied.
func New(j journal.Journal, plan *rules.Plan, r *Resumed, reviver *Reviver, config uint64, now func() sample.Instant, log *slog.Logger) *Keeper {
	k := &Keeper{journal: j, plan: plan, reviver: reviver, config: config, share: shareHolds, heard: r.heard.Clone(), newest: r.newest, changes: r.position, now: now, log: log,
		blocks: make([]record.Block, len(plan.Sources)), open: make([]open, len(plan.Sources)), ends: turns(len(plan.Sources)),
		kept: sample.Never, room: room{scans: mostPending, readings: mostReadings, from: sample.Past}, passed: make(chan struct{})}
	for i := range k.blocks {
		k.blocks[i] = record.Block{Source: plan.Sources[i].ID, Config: config}
	}
	k.late.Log, k.late.Away = asked{k}, k.away.Load
	return k
}

// Scan implements pipeline.Recorder.
func (k *Keeper) Scan(ord uint64, s *sample.Scan) {
	k.mu.Lock()
	defer k.mu.Unlock()
	b := &k.blocks[s.Source]
	kept := record.ScanOf(s, k.spare.get())
	kept.Ord = ord
	k.heard.Hear(b.Source, s)
	k.newest = max(k.newest, s.Arrived)
	b.Scans = append(b.Scans, kept)
	k.barrier = ord
	k.pending++
	k.holds += len(kept.Raw)
	k.room.add(len(kept.Raw))
	k.makeRoom()
}

// Tick implements pipeline.Recorder.
func (k *Keeper) Tick(ord uint64, place int, now sample.Instant) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.tick(record.Tick{Ord: ord, Place: k.plan.Places[place].ID, At: now})
}

// Commit implements pipeline.Recorder. Where readings find no room the events
// are kept all the same, and with them how their places stand: a start that does
// not have those readings would judge anew, and tell again, what has been told. What
// stands in a log of several machines, and waits there for room, is given to it once: it
// would be kept as often as it was given.
func (k *Keeper) Commit(next uint64, events []alert.Event, state func(string) []byte) (took bool, err error) {
	var at record.Position
	unread := k.settle(next)
	entries := make([]record.Entry, len(events), len(events)+1)
	for i, e := range events {
		entries[i] = record.Entry{At: e.At, Written: k.now(), Place: e.Place, Body: record.Transition{Event: e}}
	}
	if _, waiting := k.late.Waits(); unread != nil && waiting < mostStanding {
		if stands := k.stand(next, events, state); len(stands) > 0 {
			at, err = k.put(append(entries, stands...)...)
			took = err == nil || errors.Is(err, journal.ErrLater)
		}
	}
	if !took { // or there is not even room for that
		at, err = k.put(entries...)
	}
	if err == nil {
		k.changes = max(k.changes, at)
	}
	switch {
	case errors.Is(err, journal.ErrUnreached) && errors.Is(err, journal.ErrLater):
		k.log.Warn("alerts are told, and wait to be kept", slog.Any("error", err), slog.String("do", "see that a majority of the servers of the log runs, and can be reached from here"))
		return took, nil
	case errors.Is(err, journal.ErrLater): // other machines have them already
		k.log.Warn("alerts wait for room in the record of this machine", slog.Any("error", err), slog.String("do", "make room on the disk"))
		return took, nil
	case err != nil:
		k.log.Error("alerts were not kept, and are told all the same", slog.Any("error", err), slog.String("do", "make room on the disk"))
		return false, fmt.Errorf("keeping %d changes of alerts: %w", len(events), err)
	}
	return took, nil
}

// settle keeps every input before ord, and returns why readings could not be kept.
func (k *Keeper) settle(ord uint64) error {
	err := k.hurry(context.Background())
	if err != nil {
		k.log.Warn("readings were not kept", slog.Any("error", err), slog.String("do", "make room on the disk; they wait, and the oldest are given up"))
	}
	k.fix(ord)
	return err
}

// stand returns how the places of events stand, as one input.
func (k *Keeper) stand(ord uint64, events []alert.Event, state func(string) []byte) []record.Entry {
	body := packStanding(events, state)
	if body == nil {
		return nil
	}
	now := k.now()
	return []record.Entry{{Ord: ord, At: now, Written: now, Body: record.State{Body: body}}}
}

// Flush makes all readings so far durable.
func (k *Keeper) Flush(ctx context.Context) error { return k.write(ctx) }

// A Condition is how the record is.
type Condition struct {
	Pending int    // scans and ticks that wait for the disk
	Lost    uint64 // scans that were judged and not kept
	Trouble string // what is wrong, in plain words; "" if nothing is

	// Kept is as of when all was kept at least, where nothing is now, not in the log of other
	// machines either; sample.Never where that is not so.
	Kept sample.Instant
}
