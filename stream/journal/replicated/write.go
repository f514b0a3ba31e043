package replicated

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"sync"

	"weald/stream/journal"
	"weald/stream/record"
)

// An outcome is what became of a call in the own store.
type outcome struct {
	position record.Position
	version  uint64
	numbers  []uint64 // of blocks
	err      error
}

// A ticket is a call of this Journal that is under way.
type ticket struct {
	call uint64
	hash [sha256.Size]byte // of term and arguments
	done chan struct{}     // closed when outcome holds
	outcome
	waits bool   // somebody waits for it
	given uint64 // when nobody did any more, by a count
}

// waiting are the tickets of a Journal. A call whose caller went away without an answer
// keeps its ticket: one with the same arguments is that call, made again.
type waiting struct {
	mu    sync.Mutex
	last  uint64
	gave  uint64
	calls map[uint64]*ticket
	trouble
}

// mostDoubtful is how many calls may be in doubt. Of more, those that were not made again for
// longest would be calls of their own.
const mostDoubtful = 1000

// take returns the ticket of a call, and whether it was made before.
func (w *waiting) take(hash [sha256.Size]byte) (t *ticket, again bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, t := range w.calls {
		if t.hash == hash && !t.waits {
			t.waits = true
			return t, true
		}
	}
	if w.calls == nil {
		w.calls = make(map[uint64]*ticket)
	}
	w.last++
	t = &ticket{call: w.last, hash: hash, done: make(chan struct{}), waits: true}
	w.calls[t.call] = t
	return t, false
}

// give lets a ticket go: its caller has an answer, or goes without one.
func (w *waiting) give(t *ticket, answered bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.gave++
	t.waits, t.given = false, w.gave
	switch {
	case answered:
		delete(w.calls, t.call)
	case len(w.calls) > mostDoubtful:
		oldest := t
		for _, one := range w.calls {
			if !one.waits && one.given < oldest.given {
				oldest = one
			}
		}
		delete(w.calls, oldest.call)
	}
}

// settle says what became of a call.
func (w *waiting) settle(call uint64, o outcome) {
	w.mu.Lock()
	t := w.calls[call]
	w.mu.Unlock()
	if t == nil {
		return
	}
	select {
	case <-t.done:
	default:
		t.outcome = o
		close(t.done)
	}
}

// A trouble is what keeps the store from taking calls.
type trouble struct {
	err   error
	began chan struct{} // closed when there is one
}

// hold says why calls are not carried out now; nil for no reason. They will be, in their
// turn: who has waited for them gets err, and their tickets stay.
func (w *waiting) hold(err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.trouble.err = err; err == nil {
		w.trouble.began = nil
		return
	}
	if w.trouble.began == nil {
		w.trouble.began = make(chan struct{})
	}
	select {
	case <-w.trouble.began:
	default:
		close(w.trouble.began)
	}
}

// troubled returns what is closed when there is trouble.
func (w *waiting) troubled() chan struct{} {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.trouble.began == nil {
		w.trouble.began = make(chan struct{})
	}
	return w.trouble.began
}

func (w *waiting) why() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.trouble.err
}

// errFollows is a fault of the program.
var errFollows = errors.New("this machine only follows the record, and writes nothing")

// keep puts a call into the log and returns what became of it.
func (j *Journal) keep(ctx context.Context, c *call) (outcome, error) {
	if j.options.Follows {
		return outcome{}, errFollows
	}
	body, err := c.append(nil)
	if err != nil {
		return outcome{}, err
	}
	parts := cut(body, j.most)
	if len(parts) > mostSent {
		return outcome{}, fmt.Errorf("a call of %d bytes, in messages of %d at most: %w", len(body), j.most, record.ErrInvalid)
	}
	ctx, leave, err := j.enter(ctx)
	if err != nil {
		return outcome{}, err
	}
	defer leave()
	t, again := j.calls.take(hashOf(j.term.Load(), body))
	ctx, tried, err := j.away.bound(ctx, j.withinOf(c), again)
	if err != nil {
		j.calls.give(t, true)
		return outcome{}, err
	}
	o, err := j.carry(ctx, t, parts)
	tried(err)
	return o, err
}

// carry sends a call, and waits for what becomes of it.
func (j *Journal) carry(ctx context.Context, t *ticket, parts [][]byte) (outcome, error) {
	if err := j.send(ctx, t.call, parts); err != nil {
		// Parts that others come between are no call any more: made again it is a new one.
		j.calls.give(t, len(parts) > 1)
		return outcome{}, err
	}
	for troubled := j.calls.troubled(); ; troubled = j.calls.troubled() {
		select {
		case <-t.done:
			j.calls.give(t, true)
			return t.outcome, t.err
		case <-ctx.Done():
			j.calls.give(t, false)
			return outcome{}, context.Cause(ctx)
		case <-troubled:
			if err := j.calls.why(); err != nil {
				j.calls.give(t, false)
				return outcome{}, fmt.Errorf("%w; %w", err, journal.ErrLater)
			}
		}
	}
}

// hashOf tells calls apart by their term and what they were given.
func hashOf(term uint64, body []byte) (sum [sha256.Size]byte) {
	h := sha256.New()
	h.Write(binary.BigEndian.AppendUint64(nil, term))
	h.Write(body)
	h.Sum(sum[:0])
	return sum
}

// send puts a call into the log, in as many messages as it takes.
func (j *Journal) send(ctx context.Context, call uint64, parts [][]byte) error {
	if len(parts) > 1 {
		j.partial.Lock()
		defer j.partial.Unlock()
	}
	for i, part := range parts {
		if err := j.publish(ctx, label{j.term.Load(), j.writer, call, i + 1, len(parts)}, part); err != nil {
			return err
		}
	}
	return nil
}

// Append implements journal.Log.
func (j *Journal) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	if len(entries) == 0 {
		head, err := j.store.Head(ctx)
		return head.Position, err
	}
	o, err := j.keep(ctx, &call{entries: entries})
	return o.position, err
}

// AppendReadings implements journal.Inputs.
func (j *Journal) AppendReadings(ctx context.Context, blocks []record.Block, ticks []record.Tick) error {
	if len(blocks) == 0 && len(ticks) == 0 {
		return j.alive()
	}
	o, err := j.keep(ctx, &call{blocks: blocks, ticks: ticks})
	if err != nil {
		return err
	}
	for i := range blocks {
		blocks[i].Number = o.numbers[i]
	}
	return nil
}

// PutSnapshot implements journal.Inputs.
func (j *Journal) PutSnapshot(ctx context.Context, s record.Snapshot) error {
	_, err := j.keep(ctx, &call{snapshot: &s})
	return err
}

// PutDocument implements journal.Shelf.
func (j *Journal) PutDocument(ctx context.Context, d record.Document) (uint64, error) {
	o, err := j.keep(ctx, &call{document: &d})
	return o.version, err
}

// PutHistory implements journal.History.
func (j *Journal) PutHistory(ctx context.Context, stretches ...record.Stretch) error {
	if len(stretches) == 0 {
		return j.alive()
	}
	_, err := j.keep(ctx, &call{stretches: stretches})
	return err
}

func (j *Journal) alive() error {
	_, leave, err := j.enter(context.Background())
	if err != nil {
		return err
	}
	leave()
	return nil
}
