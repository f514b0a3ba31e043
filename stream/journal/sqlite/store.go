package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"

	"golang.org/x/sys/unix"

	"weald/stream/journal"
	"weald/stream/record"
)

const (
	mainName    = "weald.db"
	lockName    = "lock"
	reserveName = "reserve"
)

// DefaultReserve is enough for some 100,000 entries, or 5,000 changes of alerts on a
// mat of 2048 cells, each of which takes how the mat stands with it. Of a small file
// system it is an eighth.
const (
	DefaultReserve = 64 << 20
	reservePart    = 8
)

// Options are what Open can be told.
type Options struct {
	// Reserve is how many bytes are set aside for entries on a full disk; 0
	// means DefaultReserve or what is apt for a small file system, less than 0 none.
	Reserve int64
}

// A Store is a record in a folder. It implements journal.Journal and
// journal.Retainer.
type Store struct {
	// Set by Open, then read by anyone.
	dir     string
	reserve reserve
	lock    *os.File
	looking bool // set by Look: nothing is written, since the record is another process's

	following atomic.Bool // a log: nothing is written but what comes from there

	group group // all writing to the main file goes through it
	main  mainFile
	days  days
	head  head

	state  sync.Mutex
	closed bool  // guarded by state
	full   bool  // guarded by state: readings are not kept for want of room
	broken error // guarded by state: why nothing is kept any more

	found struct {
		sync.Mutex
		all []journal.Finding // guarded: what was noticed and mended

		keeping sync.Mutex
		kept    int // how many of all are in the record; guarded by keeping
	}
}

var (
	_ journal.Journal  = (*Store)(nil)
	_ journal.Retainer = (*Store)(nil)
)

// mainFile is weald.db with its connections.
type mainFile struct {
	use   sync.RWMutex // held for reading while w or r is used, for writing while they are replaced
	w     *sql.DB      // one connection, used by who commits
	r     *sql.DB      // for readers
	mends int          // how often the file was built anew; guarded by use

	// Owned by who commits: whether the log of w is kept short, and where the
	// transaction has come to.
	thrifty  bool
	position record.Position
	ord      uint64
	link     record.Link
}

// Open opens the record in a folder, and makes both if they are not there. What
// a crash or a damaged file left behind is mended first; KeepMended lets Check tell.
//
// Its errors are journal.ErrInUse, journal.ErrForeign, journal.ErrFull where
// there is not even room to begin, and those of the file system.
func Open(ctx context.Context, dir string, o Options) (*Store, error) {
	if o.Reserve == 0 {
		o.Reserve = DefaultReserve
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err == nil && o.Reserve == DefaultReserve {
		o.Reserve = min(o.Reserve, int64(st.Blocks)*int64(st.Bsize)/reservePart)
	}
	s := &Store{dir: dir, reserve: reserve{filepath.Join(dir, reserveName), max(o.Reserve, 0)}}
	s.head.init()
	s.days.init(s)
	if err := s.open(ctx); err != nil {
		s.release()
		return nil, fmt.Errorf("record in %s: %w", dir, err)
	}
	return s, nil
}

func (s *Store) open(ctx context.Context) error {
	if err := s.acquire(); err != nil {
		return err
	}
	if err := s.finishMending(); err != nil {
		return err
	}
	if err := s.openMain(ctx); err != nil {
		if !errors.Is(err, errCorrupt) {
			return err
		}
		if err := s.rebuildMain(ctx, err); err != nil {
			return err
		}
	}
	if err := s.days.load(ctx); err != nil {
		return err
	}
	switch err := s.reserve.hold(); {
	case errors.Is(err, journal.ErrFull):
		s.full = true
	case err != nil:
		return err
	}
	return nil
}

// acquire takes the lock file. The system gives it back when the process ends,
// however it ends.
func (s *Store) acquire() error {
	f, err := os.OpenFile(filepath.Join(s.dir, lockName), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return translate(err)
	}
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, unix.EWOULDBLOCK) {
			return journal.ErrInUse
		}
		return err
	}
	s.lock = f
	return nil
}

// openMain opens weald.db and learns how far it has come.
func (s *Store) openMain(ctx context.Context) (err error) {
	path := filepath.Join(s.dir, mainName)
	rescued, err := s.rescue(mainName)
	if err != nil {
		return err
	}
	if s.main.w, err = establish(ctx, path, &mainKind); err != nil {
		return err
	}
	if s.main.r, err = connect(path, reading); err != nil {
		return err
	}
	if err := mainKind.keepAll(ctx, s.main.w, rescued); err != nil {
		return err
	}
	return s.learn(ctx)
}

// learn sees how far the main file has come.
func (s *Store) learn(ctx context.Context) error {
	var position, ord int64
	err := eachRow(ctx, s.main.r, `SELECT coalesce(max(position), 0),
		coalesce((SELECT max(ord) FROM entries WHERE ord IS NOT NULL), 0) FROM entries`, nil, func(r *sql.Rows) error {
		return r.Scan(&position, &ord)
	})
	if err != nil {
		return err
	}
	all, err := readProgress(ctx, s.main.r)
	if err != nil {
		return err
	}
	link, err := lastLink(ctx, s.main.r)
	if err != nil {
		return err
	}
	s.following.Store(len(all[ofLog].Sources) > 0)
	p := all[ofEntries]
	s.head.entries(max(p.Position, record.Position(position)), max(p.Ord, uint64(ord)), link)
	return nil
}

func (s *Store) closeMain() error {
	s.main.thrifty = false // the next connection knows nothing of it
	var errs []error
	for _, db := range []**sql.DB{&s.main.r, &s.main.w} {
		if *db != nil {
			errs = append(errs, (*db).Close())
			*db = nil
		}
	}
	return errors.Join(errs...)
}

// Close implements journal.Journal. It waits for what is being written.
func (s *Store) Close() error {
	err := s.days.finish()
	s.state.Lock()
	if s.closed {
		s.state.Unlock()
		return nil
	}
	s.closed = true
	s.state.Unlock()
	s.head.close()
	return errors.Join(err, s.release())
}

func (s *Store) release() error {
	errs := []error{s.days.close()}
	s.main.use.Lock()
	defer s.main.use.Unlock()
	errs = append(errs, s.closeMain())
	if s.lock != nil {
		// A process that has just been forked elsewhere may hold the file for a moment
		// more: the lock must not last as long as that.
		errs = append(errs, unix.Flock(int(s.lock.Fd()), unix.LOCK_UN), s.lock.Close())
		s.lock = nil
	}
	return errors.Join(errs...)
}

// Head implements journal.Journal.
func (s *Store) Head(context.Context) (journal.Head, error) {
	if err := s.alive(); err != nil {
		return journal.Head{}, err
	}
	return s.head.now(), nil
}

// alive returns ErrClosed if that is so. Reading goes on when writing cannot.
func (s *Store) alive() error {
	s.state.Lock()
	defer s.state.Unlock()
	if s.closed {
		return journal.ErrClosed
	}
	return nil
}
