package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"sync"

	"weald/stream/journal"
	"weald/stream/record"
)

// A request is something to be written to the main file. Its do runs in a
// transaction, perhaps more than once, and perhaps with those of others; what it
// finds out about the record is only true when commit returned nil.
type request struct {
	do func(tx *sql.Tx) error

	// kept is called when it is on disk, before the next request runs. It may
	// be nil.
	kept func()

	// reserved says that it may use the reserve.
	reserved bool

	err  error
	done chan struct{} // closed when err holds, or lead is set
	lead bool          // whoever waits for this has to commit what waits
}

// A group lets those who write at the same time share one sync. There is no
// goroutine: the first who comes commits for all who came while it did, and then
// hands over.
type group struct {
	mu      sync.Mutex
	waiting []*request // guarded by mu
	busy    bool       // guarded by mu: somebody commits
}

// most is how many requests one transaction takes at most.
const most = 512

// submit runs r with others and returns when it is on disk or refused. A
// caller that is no longer interested gets its context's cause if r has not
// begun; what has begun ends first.
func (g *group) submit(ctx context.Context, r *request, commit func([]*request)) error {
	if err := ctx.Err(); err != nil {
		return context.Cause(ctx)
	}
	r.done = make(chan struct{})
	g.mu.Lock()
	g.waiting = append(g.waiting, r)
	if g.busy {
		g.mu.Unlock()
		select {
		case <-r.done:
		case <-ctx.Done():
			if g.withdraw(r) {
				return context.Cause(ctx)
			}
			<-r.done
		}
		if !r.lead {
			return r.err
		}
		g.mu.Lock()
	}
	g.busy = true
	batch := g.waiting[:min(len(g.waiting), most)]
	g.waiting = g.waiting[len(batch):]
	g.mu.Unlock()

	commit(batch)
	g.mu.Lock()
	g.busy = false
	if len(g.waiting) > 0 {
		g.busy = true
		next := g.waiting[0]
		next.lead = true
		close(next.done)
	}
	g.mu.Unlock()
	for _, other := range batch {
		if other != r {
			close(other.done)
		}
	}
	return r.err
}

// withdraw takes r out if nobody has begun with it and it does not lead.
func (g *group) withdraw(r *request) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	if r.lead {
		return false
	}
	for i, w := range g.waiting {
		if w == r {
			g.waiting = append(g.waiting[:i], g.waiting[i+1:]...)
			return true
		}
	}
	return false
}

// write is the way of every change of the main file.
func (s *Store) write(ctx context.Context, r *request) error {
	return s.group.submit(ctx, r, s.commit)
}

// commit runs a batch in one transaction and says in each request what became
// of it.
func (s *Store) commit(batch []*request) {
	s.main.use.RLock()
	defer s.main.use.RUnlock()
	for range 4 { // full: again with the reserve; damaged: again when mended
		err := s.usable()
		if err == nil {
			err = s.attempt(batch)
		}
		switch {
		case err == nil:
			for _, r := range batch {
				if r.err == nil && r.kept != nil {
					r.kept()
				}
			}
			return
		case errors.Is(err, journal.ErrFull) && s.stopReadings(batch):
			continue
		case errors.Is(err, errCorrupt):
			mends := s.main.mends
			s.main.use.RUnlock()
			mended := s.mendMain(err, mends)
			s.main.use.RLock()
			if mended == nil {
				continue
			}
			err = mended
		case errors.Is(err, journal.ErrBroken):
			s.breakDown(err)
		}
		for _, r := range batch {
			r.err = err
		}
		return
	}
}

// How long the log of the main file may get, in pages, before it is moved into
// the file: as long as SQLite lets it, and, on a full disk, much less. There it
// is the log that eats the reserve, and it cannot be moved when nothing is left.
const (
	logPages        = 1000
	logPagesOnAFull = 32
)

// saveRoom keeps the log short while the disk is full. Only who commits may call
// it.
func (s *Store) saveRoom() error {
	s.state.Lock()
	full := s.full
	s.state.Unlock()
	if full == s.main.thrifty {
		return nil
	}
	pages := logPages
	if full {
		pages = logPagesOnAFull
	}
	if _, err := s.main.w.Exec(fmt.Sprintf("PRAGMA wal_autocheckpoint(%d)", pages)); err != nil {
		return translate(err)
	}
	s.main.thrifty = full
	return nil
}

// attempt runs all of a batch, each request in a savepoint of its own: one that
// is refused does not take the others with it.
func (s *Store) attempt(batch []*request) error {
	if s.main.w == nil {
		return fmt.Errorf("%s could not be opened again: %w", mainName, journal.ErrBroken)
	}
	if err := s.saveRoom(); err != nil {
		return err
	}
	tx, err := s.main.w.Begin()
	if err != nil {
		return translate(err)
	}
	defer tx.Rollback()
	s.main.position = s.head.position()
	s.main.ord = s.head.entryOrd()
	s.main.link = s.head.link()
	wrote := false
	for _, r := range batch {
		if r.err = s.admit(r); r.err != nil {
			continue
		}
		if _, err := tx.Exec("SAVEPOINT request"); err != nil {
			return translate(err)
		}
		position, ord, link := s.main.position, s.main.ord, s.main.link
		if r.err = translate(r.do(tx)); r.err != nil {
			if storage(r.err) {
				return r.err
			}
			s.main.position, s.main.ord, s.main.link = position, ord, link
			if _, err := tx.Exec("ROLLBACK TO request"); err != nil {
				return translate(err)
			}
		}
		if _, err := tx.Exec("RELEASE request"); err != nil {
			return translate(err)
		}
		wrote = wrote || r.err == nil
	}
	if !wrote {
		return nil
	}
	if s.main.position != s.head.position() {
		if err := saveProgress(tx, ofEntries, record.Progress{Position: s.main.position, Ord: s.main.ord}); err != nil {
			return translate(err)
		}
	}
	return translate(tx.Commit())
}

// storage reports whether an error is the disk's and not the request's.
func storage(err error) bool {
	return errors.Is(err, journal.ErrFull) || errors.Is(err, journal.ErrBroken) || errors.Is(err, errCorrupt)
}
