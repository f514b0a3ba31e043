package sqlite

import (
	"context"
	"sync"

	"weald/stream/journal"
	"weald/stream/record"
)

// A head is how far the record has come, and lets others wait until it is
// further.
type head struct {
	mu      sync.Mutex
	at      journal.Head  // guarded by mu
	entry   uint64        // guarded by mu: the greatest ordinal of an entry
	last    record.Link   // guarded by mu: the end of the chain of audit entries
	changed chan struct{} // guarded by mu: closed and replaced when at.Position grows
	closed  chan struct{}
}

func (h *head) init() { h.changed, h.closed = make(chan struct{}), make(chan struct{}) }

func (h *head) close() { close(h.closed) }

func (h *head) now() journal.Head {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.at
}

func (h *head) position() record.Position { return h.now().Position }

func (h *head) entryOrd() uint64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.entry
}

// link returns the end of the chain of audit entries.
func (h *head) link() record.Link {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.last
}

// entries moves the head to a position, and to the ordinal of an entry and the end
// of the chain, if they are further.
func (h *head) entries(p record.Position, ord uint64, link record.Link) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if link.Number > h.last.Number {
		h.last = link
	}
	h.entry, h.at.Ord = max(h.entry, ord), max(h.at.Ord, ord)
	if p > h.at.Position {
		h.at.Position = p
		close(h.changed)
		h.changed = make(chan struct{})
	}
}

// reached moves the head to an ordinal if it is further.
func (h *head) reached(ord uint64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.at.Ord = max(h.at.Ord, ord)
}

// Wait implements journal.Log.
func (s *Store) Wait(ctx context.Context, after record.Position) error {
	for {
		s.head.mu.Lock()
		there, changed := s.head.at.Position > after, s.head.changed
		s.head.mu.Unlock()
		if err := s.alive(); err != nil {
			return err
		}
		if there {
			return nil
		}
		select {
		case <-changed:
		case <-s.head.closed:
			return journal.ErrClosed
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}
