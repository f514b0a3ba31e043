package replicated

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"weald/stream/journal"
	"weald/stream/journal/replicated/patience"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

// A follower gives the store of a Journal what comes through the log. One goroutine runs
// it; it is the only one that writes to the store.
type follower struct {
	*Journal
	into     taker // the store
	at       sqlite.Followed
	partials partials
	unsaved  int // calls with readings since at was kept

	caughtUp chan struct{} // closed when the message until has been dealt with
	until    uint64
}

// A taker is a store, as far as what comes through the log is put there.
type taker interface {
	Append(ctx context.Context, entries ...record.Entry) (record.Position, error)
	AppendReadings(ctx context.Context, blocks []record.Block, ticks []record.Tick) error
	PutSnapshot(ctx context.Context, s record.Snapshot) error
	PutDocument(ctx context.Context, d record.Document) (uint64, error)
	PutHistory(ctx context.Context, stretches ...record.Stretch) error
	Follow(ctx context.Context, at sqlite.Followed) error
}

var errEnded = errors.New("the log is not followed any more")

// saveEvery is after how many calls that bring readings it is kept how far the store has
// come: so many are read again after a crash, and change nothing.
const saveEvery = 256

// run follows until the Journal ends, or following fails, which ends the Journal.
func (f *follower) run() {
	defer close(f.done)
	err := f.follow()
	if cause := context.Cause(f.ctx); cause == nil {
		f.end(err)
	}
	f.leave()
}

// leave keeps how far the store has come.
func (f *follower) leave() {
	if f.unsaved > 0 {
		_ = f.into.Follow(context.Background(), f.at) // what is not kept is read again
	}
}

func (f *follower) follow() error {
	next := max(f.at.Next, 1)
	f.dealt.Store(next - 1)
	for {
		var messages jetstream.MessagesContext
		err := patience.Ask(f.ctx, &f.unheard, func(ctx context.Context) (err error) {
			messages, err = patience.Hear(ctx, f.stream, next)
			return err
		})
		if err == nil {
			err = f.hear(messages, &next)
		}
		if f.ctx.Err() != nil {
			return errEnded
		}
		if err != nil {
			return err
		}
		// Whoever answered has died, or left something out: another is asked from there on.
	}
}

// hear takes in messages from next on, and moves that, until somebody else has to be asked;
// its error is why nothing more can be followed.
func (f *follower) hear(messages jetstream.MessagesContext, next *uint64) error {
	stop := context.AfterFunc(f.ctx, messages.Stop)
	defer stop()
	defer messages.Stop()
	for first := true; ; first = false {
		m, err := patience.Next(f.js.Conn(), messages, &f.unheard)
		switch {
		case f.ctx.Err() != nil:
			return errEnded
		case err != nil:
			return nil
		}
		meta, err := m.Metadata()
		if err != nil {
			return fmt.Errorf("a message without a number: %w: %w", err, journal.ErrBroken)
		}
		seq := meta.Sequence.Stream
		switch {
		case seq < *next:
			continue // it came twice
		case seq > *next && first:
			return fmt.Errorf("messages %d to %d of the log are missing on the server that answered: what follows cannot be kept: %w", *next, seq-1, journal.ErrBroken)
		case seq > *next:
			return nil // what was on its way is lost, and can be asked for again
		}
		if id := m.Headers().Get(logHeader); id != "" && id != f.log { // former versions do not say it
			return fmt.Errorf("message %d of the log: %w", seq, f.anew())
		}
		if f.options.Domain != "" {
			if err := sameNumber(seq, m.Headers().Get(sourceHeader)); err != nil {
				return err
			}
		}
		if err := f.message(seq, m.Headers().Get(labelHeader), m.Data()); err != nil {
			return err
		}
		*next++
		f.dealt.Store(seq)
		f.look()
	}
}

// look says whether all has come that was in the log when it was opened.
func (f *follower) look() {
	if max(f.at.Applied, f.at.Next-1) >= f.until && f.until != ^uint64(0) {
		close(f.caughtUp)
		f.until = ^uint64(0)
	}
}

// message takes one message in.
func (f *follower) message(seq uint64, header string, data []byte) error {
	l, err := parseLabel(header)
	if err != nil {
		return fmt.Errorf("message %d of the log: %w: %w", seq, err, journal.ErrBroken)
	}
	body, whole := f.partials.add(l, seq, data)
	if !whole || seq <= f.at.Applied {
		f.at.Next = f.partials.next(seq)
		return nil
	}
	c, err := decode(body)
	switch {
	case errors.Is(err, record.ErrNewer):
		return fmt.Errorf("message %d of the log is of a newer version of weald: install that here, and this machine goes on where it is: %w", seq, err)
	case err != nil:
		return fmt.Errorf("message %d of the log: %w: %w", seq, err, journal.ErrBroken)
	}
	f.at.Applied, f.at.Next = seq, f.partials.next(seq) // not before: what cannot be read is asked for again
	o := f.judge(l, c)
	if o.err == nil && !c.empty() {
		o = f.perform(c)
	} else {
		f.save()
	}
	if o.err != nil && f.ctx.Err() != nil {
		f.unsaved = 0 // at is ahead of the store by this call, which is read again
		return errEnded
	}
	if l.writer == f.writer {
		f.calls.settle(l.call, o)
	}
	return nil
}

// judge says whether a writer may write, and begins its term where it claims one.
func (f *follower) judge(l label, c *call) outcome {
	claims := c.empty() && l.term == f.at.Term+1
	if !claims && (l.term != f.at.Term || l.term > 0 && l.writer != f.at.Writer) {
		return outcome{err: fmt.Errorf("term %d, the record is in term %d: %w", l.term, f.at.Term, ErrSuperseded)}
	}
	if claims {
		f.at.Term, f.at.Writer = l.term, l.writer
	}
	f.current.Store(f.at.Term)
	return outcome{}
}

// perform gives a call to the store, again and again while that has no room.
func (f *follower) perform(c *call) outcome {
	for {
		o := f.carryOut(c)
		switch {
		case o.err == nil && (len(c.blocks) > 0 || len(c.ticks) > 0):
			if f.unsaved++; f.unsaved >= saveEvery {
				f.save()
			}
		case o.err == nil:
			f.unsaved = 0
		case f.ctx.Err() != nil:
		case errors.Is(o.err, journal.ErrBroken):
			f.end(o.err)
		case errors.Is(o.err, journal.ErrFull):
			f.calls.hold(o.err)
			select {
			case <-time.After(patience.RetryAfter):
			case <-f.ctx.Done():
			}
			continue
		default:
			f.save() // refused, here as everywhere
		}
		f.calls.hold(nil)
		return o
	}
}

// save keeps how far the store has come. Where that fails, more is read again.
func (f *follower) save() {
	if f.into.Follow(f.ctx, f.at) == nil {
		f.unsaved = 0
	}
}

func (f *follower) carryOut(c *call) (o outcome) {
	ctx := sqlite.Following(f.ctx, f.at)
	switch {
	case len(c.entries) > 0:
		o.position, o.err = f.into.Append(ctx, c.entries...)
	case len(c.blocks) > 0 || len(c.ticks) > 0:
		if o.err = f.into.AppendReadings(ctx, c.blocks, c.ticks); o.err == nil {
			o.numbers = make([]uint64, len(c.blocks))
			for i := range c.blocks {
				o.numbers[i] = c.blocks[i].Number
			}
		}
	case c.snapshot != nil:
		o.err = f.into.PutSnapshot(ctx, *c.snapshot)
	case c.document != nil:
		o.version, o.err = f.into.PutDocument(ctx, *c.document)
	case len(c.stretches) > 0:
		o.err = f.into.PutHistory(ctx, c.stretches...)
	}
	return o
}
