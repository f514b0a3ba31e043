package sqlite

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"weald/stream/journal"
)

// mostMends is how often a file is built anew while a record is open. A disk
// that damages it again and again will not get better by more writing.
const mostMends = 3

// mendMain builds the main file anew while the store is in use. seen is how
// often that had been done when the caller met the damage.
func (s *Store) mendMain(cause error, seen int) error {
	s.main.use.Lock()
	defer s.main.use.Unlock()
	if s.main.mends != seen {
		return nil // somebody else did
	}
	if err := s.alive(); err != nil {
		return err
	}
	if s.looking {
		return fmt.Errorf("%s: %w", mainName, cause)
	}
	if seen >= mostMends {
		return fmt.Errorf("%s again: %w", mainName, cause)
	}
	return s.rebuildMain(context.Background(), cause)
}

// rebuildMain builds the main file anew and opens it. The caller holds use, or
// is Open.
func (s *Store) rebuildMain(ctx context.Context, cause error) error {
	if err := s.closeMain(); err != nil && !errors.Is(translate(err), errCorrupt) {
		return err
	}
	s.main.mends++
	failed := s.rebuild(ctx, mainName, &mainKind, cause)
	// Whatever became of it, the file has to be open again: others wait to use
	// it. Where it cannot be, nothing more is kept.
	if err := s.openMain(ctx); err != nil {
		err = errors.Join(failed, err)
		s.breakDown(err)
		return fmt.Errorf("%w: %w", journal.ErrBroken, err)
	}
	if failed != nil {
		return failed
	}
	tx, err := s.main.w.BeginTx(ctx, nil)
	if err != nil {
		return translate(err)
	}
	defer tx.Rollback()
	for _, one := range s.days.list() {
		one.state = open // how far its sources had come is only in the file now
		if err := saveDay(tx, one, nil); err != nil {
			return translate(err)
		}
	}
	return translate(tx.Commit())
}

// mended returns how often a file of readings was built anew.
func (d *days) mended(file string) int {
	d.write.Lock()
	defer d.write.Unlock()
	return d.mends[file]
}

// mendSeen builds a file of readings anew, unless that was done since mended
// said seen.
func (d *days) mendSeen(ctx context.Context, file string, cause error, seen int) error {
	d.write.Lock()
	defer d.write.Unlock()
	if d.mends[file] != seen {
		return nil
	}
	if d.s.looking {
		return fmt.Errorf("%s: %w", file, cause)
	}
	return d.mend(lasting(ctx), file, cause)
}

// mend builds a file of readings anew. The caller holds write.
func (d *days) mend(ctx context.Context, file string, cause error) error {
	if d.mends[file] >= mostMends {
		return fmt.Errorf("%s again: %w", file, cause)
	}
	if d.current == file {
		_ = d.w.Close() // it says that the file is damaged
		d.w, d.current = nil, ""
	}
	d.mends[file]++
	if err := d.s.rebuild(ctx, file, &dayKind, cause); err != nil {
		return err
	}
	if err := d.look(ctx, file); err != nil {
		return err
	}
	return d.register(ctx, file)
}

// Mend builds every file anew in which Check finds that the structure is
// damaged. What is whole in it can be had again after that; what is not stays
// lost.
func (s *Store) Mend(ctx context.Context) error {
	causes := map[string]error{}
	for f, err := range s.Check(ctx) {
		if err != nil {
			return err
		}
		if f.Trouble == journal.Structure && causes[f.File] == nil {
			causes[f.File] = errors.New(strings.TrimPrefix(f.Text, f.File+": "))
		}
	}
	for file, cause := range causes {
		var err error
		if file == mainName {
			s.main.use.RLock()
			seen := s.main.mends
			s.main.use.RUnlock()
			err = s.mendMain(cause, seen)
		} else {
			err = s.days.mendSeen(ctx, file, cause, s.days.mended(file))
		}
		if err != nil {
			return err
		}
	}
	return nil
}
