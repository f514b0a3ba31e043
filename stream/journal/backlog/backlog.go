// Package backlog lets calls to a record wait that the record could not be reached for, and
// hands them over again: a queue, first in, first out, in front of Append.
//
// It is for a record that several machines keep, whose servers may be out of reach, or may
// take a call and not live to say so (journal.ErrUnreached). Whoever judges or sends must not
// wait for them. What a Queue has taken is in the log once, in the order in which it was
// taken, however the log answers meanwhile.
//
// # Answers
//
// A call is given as it was for as long as its answer leaves open whether it is kept: by
// journal.ErrUnreached, or any error after the time for it was over. The log knows it by
// that, and keeps it once. Until then nothing else is given: the log has one call of a Queue
// in doubt at a time, and more only of goroutines that called at the same time.
//
// Anything else settles a call, which is never given again. No error and journal.ErrLater
// mean that the log has it. All others, a full disk among them, mean that it has not and
// will not have: what is to become of it then is for whoever wanted it kept to say, as a later
// order of things may be worse than a gap. Append and Offer return such an error, and Drain
// tells of it.
//
// # What is held
//
// What waits is in memory alone, and is lost with the process. It is bounded by Calls and
// Bytes; what finds no room was not given to the log, and its caller is told. One call always
// finds room, and so does what is in doubt already: given up, it might be kept all the same.
package backlog

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"weald/stream/journal"
	"weald/stream/record"
)

// How much may wait, where a Queue does not say otherwise: of calls as small as a change of
// an alert some hours of a large ward, in a few megabytes.
const (
	DefaultCalls = 10_000
	DefaultBytes = 64 << 20
)

// A Log is what calls are given to: a journal.Log is one.
type Log interface {
	Append(ctx context.Context, entries ...record.Entry) (record.Position, error)
}

// A Queue is calls that wait. Any goroutine may use it, but for Drain. Its exported fields are
// set before that.
type Queue struct {
	Log    Log
	Within time.Duration // how long the log may take for one call; 0 for as long as it takes
	Calls  int           // how many may wait; 0 for DefaultCalls
	Bytes  int           // and how many bytes they may hold; 0 for DefaultBytes

	// Away reports that the log is known to be out of reach: only Drain asks it then. Nil is for
	// never.
	Away func() bool

	mu    sync.Mutex
	waits []call // guarded by mu, as is all below
	bytes int
}

// A call is entries that are kept together.
type call struct {
	entries []record.Entry
	bytes   int
}

var (
	errWaits   = fmt.Errorf("%w; %w", journal.ErrUnreached, journal.ErrLater)
	errRefused = fmt.Errorf("%w: %w", journal.ErrUnreached, journal.ErrUnchanged)
)

// Append gives a call to the log, or has it wait behind what waits. It waits for the log for
// Within at most, and not at all where others wait or the log is away. An error with
// journal.ErrLater means that the call will be kept, in its turn; any other that it will not
// be: journal.ErrUnchanged where there was no room to wait.
func (q *Queue) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	p, err := q.Offer(ctx, entries...)
	switch {
	case !errors.Is(err, journal.ErrUnchanged):
		return p, err
	case q.Push(entries...):
		return 0, errWaits
	}
	return 0, errRefused
}

// Offer gives a call to the log, unless it would have to wait: the error is
// journal.ErrUnchanged then, and it is as if it had not been called. Only a call that is in
// doubt waits, with journal.ErrLater: it may be kept already.
func (q *Queue) Offer(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	if n, _ := q.Waits(); n > 0 || q.Away != nil && q.Away() {
		return 0, errRefused
	}
	p, doubt, err := q.give(ctx, entries)
	if !doubt || errors.Is(err, journal.ErrUnchanged) {
		return p, err
	}
	q.Follow(entries...)
	return 0, errWaits
}

// Push has a call wait, which Drain gives to the log, and reports whether there was room.
func (q *Queue) Push(entries ...record.Entry) bool { return q.push(entries, false) }

// Follow is Push for a call that must not be parted from one that waits already, such as one
// that takes it back: there is always room for it.
func (q *Queue) Follow(entries ...record.Entry) { q.push(entries, true) }

func (q *Queue) push(entries []record.Entry, room bool) bool {
	c := call{slices.Clone(entries), size(entries)}
	q.mu.Lock()
	defer q.mu.Unlock()
	if n := len(q.waits); !room && n > 0 && (n >= cmp.Or(q.Calls, DefaultCalls) || q.bytes+c.bytes > cmp.Or(q.Bytes, DefaultBytes)) {
		return false
	}
	q.waits = append(q.waits, c)
	q.bytes += c.bytes
	return true
}

// size is how many bytes entries hold: what a record needs for them, but for states, which it
// compresses. What it cannot have counts for nothing, and is refused when it is given.
func size(entries []record.Entry) (n int) {
	var b []byte
	for i := range entries {
		if s, ok := entries[i].Body.(record.State); ok {
			n += len(s.Body)
			continue
		}
		b, _ = entries[i].Append(b[:0])
		n += len(b)
	}
	return n
}

// Waits returns how many calls wait, and how many bytes they hold.
func (q *Queue) Waits() (calls, bytes int) {
	q.mu.Lock()
	defer q.mu.Unlock()
	return len(q.waits), q.bytes
}

// Drain gives what waits to the log, one call after the other, until nothing does, or until it
// is open whether one is kept: its error says why then. Of each that the log has not taken and
// will not take, lost is told the reason, on the same goroutine, and the next one follows. One
// goroutine at a time may call it.
func (q *Queue) Drain(ctx context.Context, lost func(error)) error {
	for {
		entries, any := q.first()
		if !any {
			return nil
		}
		_, doubt, err := q.give(ctx, entries)
		if doubt {
			return err
		}
		if err != nil && !errors.Is(err, journal.ErrLater) {
			lost(err)
		}
		q.pop()
	}
}

// give gives a call to the log, and reports whether it is in doubt after that.
func (q *Queue) give(ctx context.Context, entries []record.Entry) (p record.Position, doubt bool, err error) {
	if q.Within > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeoutCause(ctx, q.Within, journal.ErrUnreached)
		defer cancel()
	}
	p, err = q.Log.Append(ctx, entries...)
	return p, err != nil && (errors.Is(err, journal.ErrUnreached) || ctx.Err() != nil), err
}

func (q *Queue) first() (entries []record.Entry, any bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.waits) == 0 {
		return nil, false
	}
	return q.waits[0].entries, true
}

// pop forgets the first call. Nothing holds what was in it.
func (q *Queue) pop() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.bytes -= q.waits[0].bytes
	q.waits[0] = call{}
	q.waits = q.waits[1:]
}
