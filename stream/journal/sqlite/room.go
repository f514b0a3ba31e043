package sqlite

import (
	"context"
	"fmt"

	"weald/ingest/sample"
	"weald/stream/journal"
)

// Room is how the store stands with its disk.
type Room struct {
	Full    bool  // readings are not kept for want of room
	Reserve bool  // the reserve is there
	Free    int64 // bytes that the file system has left
	Err     error // why nothing at all is kept any more; nil if that is not so
}

// Room returns how the store stands with its disk.
func (s *Store) Room() Room {
	left, err := free(s.dir)
	if err != nil {
		left = 0
	}
	s.state.Lock()
	defer s.state.Unlock()
	return Room{Full: s.full, Reserve: s.reserve.held(), Free: left, Err: s.broken}
}

// usable returns why nothing can be written, if so.
func (s *Store) usable() error {
	s.state.Lock()
	defer s.state.Unlock()
	if s.closed {
		return journal.ErrClosed
	}
	return s.broken
}

// admit refuses what has to wait while the disk is full.
func (s *Store) admit(r *request) error {
	s.state.Lock()
	defer s.state.Unlock()
	if s.full && !r.reserved {
		return fmt.Errorf("%w: what is left is for entries", journal.ErrFull)
	}
	return nil
}

// breakDown ends all writing: after a failed sync nobody knows what the disk
// holds, and only reading it again can tell.
func (s *Store) breakDown(err error) {
	s.state.Lock()
	defer s.state.Unlock()
	if s.broken == nil {
		s.broken = err
	}
}

// stopReadings is called when the main file could not be written for want of
// room. It gives the reserve away, and reports whether it makes sense to try
// again for those in the batch that may use it.
func (s *Store) stopReadings(batch []*request) bool {
	reserved := false
	for _, r := range batch {
		reserved = reserved || r.reserved
	}
	s.state.Lock()
	defer s.state.Unlock()
	first := !s.full
	s.full = true
	if !reserved {
		return false
	}
	if s.reserve.size > 0 && s.reserve.held() {
		return s.reserve.release() == nil
	}
	return first && len(batch) > 1 // without those that may not use it there may be room
}

// resume is called before readings are written. It returns nil if they may be:
// the disk is not full, or no longer, and the reserve is there again.
func (s *Store) resume() error {
	s.state.Lock()
	defer s.state.Unlock()
	switch {
	case s.closed:
		return journal.ErrClosed
	case s.broken != nil:
		return s.broken
	case !s.full:
		return nil
	}
	need := s.reserve.slack()
	if !s.reserve.held() {
		need += s.reserve.size
	}
	left, err := free(s.dir)
	if err != nil || left < need {
		return fmt.Errorf("%w: %d bytes are free, %d are needed to go on with readings", journal.ErrFull, left, need)
	}
	if err := s.reserve.hold(); err != nil {
		return err
	}
	s.full = false
	return nil
}

// ranOut notes that readings could not be written for want of room.
func (s *Store) ranOut() {
	s.state.Lock()
	s.full = true
	s.state.Unlock()
}

// Extent returns the first and the last instant of readings, and the bytes that they take; ok is false
// where there are none.
func (s *Store) Extent() (since, until sample.Instant, bytes int64, ok bool) {
	files, err := s.files()
	if err != nil {
		return 0, 0, 0, false
	}
	since, until = sample.Never, sample.Past
	for _, f := range files {
		if bytes += f.bytes; f.sum.blocks > 0 {
			since, until, ok = min(since, f.sum.firstAt), max(until, f.sum.lastAt), true
		}
	}
	return since, until, bytes, ok
}

// Shortened reports whether readings were deleted on purpose.
func (s *Store) Shortened(ctx context.Context) bool {
	gone, _ := s.retiredRanges(ctx) // what cannot be read says nothing
	return len(gone) > 0
}
