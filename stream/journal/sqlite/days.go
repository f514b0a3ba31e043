package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

const (
	dayPrefix = "readings-"
	daySuffix = ".db"
)

// dayFile returns the name of the file for the UTC day of an instant.
func dayFile(at sample.Instant) string {
	return dayPrefix + at.Time().Format("2006-01-02") + daySuffix
}

// What the main file says about a day.
const (
	open    = 0 // written to: its summary is in the file itself
	sealed  = 1 // its summary and the heads of its sources are in the main file
	retired = 2 // to be deleted
)

// A day is one file of readings.
type day struct {
	file    string
	state   int
	sum     summary
	missing bool // the main file knows of it, and it is not there
}

// A sourceHead is how far a source has come: number and ordinal of its last
// block. The source "" is the ticks.
type sourceHead struct{ number, ord uint64 }

// days are the files of readings.
type days struct {
	s *Store

	// write is held by who appends readings, and by who closes, mends or
	// deletes a file of them.
	write   sync.Mutex
	current string                // file that w is, "" if none; guarded by write, as all here
	w       *sql.DB               // its connection
	ids     map[string]int64      // its sources
	heads   map[string]sourceHead // of all sources
	mends   map[string]int        // how often each file was built anew

	mu  sync.Mutex
	all map[string]*day // guarded by mu
}

func (d *days) init(s *Store) {
	d.s, d.heads, d.all, d.mends = s, map[string]sourceHead{}, map[string]*day{}, map[string]int{}
}

// list returns the files as they are now, the one with the least ordinal first.
func (d *days) list() []day {
	d.mu.Lock()
	defer d.mu.Unlock()
	var all []day
	for _, one := range d.all {
		all = append(all, *one)
	}
	slices.SortFunc(all, func(a, b day) int {
		if a.sum.firstOrd != b.sum.firstOrd {
			if a.sum.firstOrd < b.sum.firstOrd {
				return -1
			}
			return 1
		}
		return strings.Compare(a.file, b.file)
	})
	return all
}

func (d *days) set(one day) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.all[one.file] = &one
}

func (d *days) get(file string) (day, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if one := d.all[file]; one != nil {
		return *one, true
	}
	return day{file: file}, false
}

func (d *days) path(file string) string { return filepath.Join(d.s.dir, file) }

// raise moves the head of a source if it is further.
func (d *days) raise(source string, h sourceHead) {
	was := d.heads[source]
	d.heads[source] = sourceHead{max(was.number, h.number), max(was.ord, h.ord)}
}

// raiseAll moves the heads of sources, and then that of the record, at once:
// nobody may see the ordinals of a call half reached.
func (d *days) raiseAll(heads map[string]sourceHead) {
	furthest := uint64(0)
	for source, h := range heads {
		d.raise(source, h)
		furthest = max(furthest, h.ord)
	}
	d.s.head.reached(furthest)
}

// load learns which files there are and how far each source has come. Only those
// that were written to last have to be opened.
func (d *days) load(ctx context.Context) error {
	d.write.Lock()
	defer d.write.Unlock()
	if err := d.loadMain(ctx); err != nil {
		return err
	}
	paths, err := filepath.Glob(filepath.Join(d.s.dir, dayPrefix+"*"+daySuffix))
	if err != nil {
		return err
	}
	there := map[string]bool{}
	for _, path := range paths {
		file := filepath.Base(path)
		there[file] = true
		one, known := d.get(file)
		switch {
		case known && one.state == sealed:
			if err := d.putAwayLate(ctx, file); err != nil {
				return err
			}
			continue
		case d.s.looking:
			if err := d.glance(ctx, one, known); err != nil {
				return err
			}
			continue
		case known && one.state == retired:
			if err := d.remove(ctx, file); err != nil {
				return err
			}
			continue
		}
		if err := d.inspect(ctx, file); err != nil {
			return err
		}
		if !known {
			if err := d.register(ctx, file); err != nil && !errors.Is(err, journal.ErrFull) {
				return err
			}
		}
	}
	for _, one := range d.list() {
		if !there[one.file] && one.state != retired {
			one.missing = true
			d.set(one)
		}
	}
	return nil
}

// putAwayLate puts the log of a sealed file into it, where readers kept it from being
// done when the file was sealed, and takes back what a crash left half done: readers can
// do neither.
func (d *days) putAwayLate(ctx context.Context, file string) error {
	if d.s.looking {
		return nil
	}
	path := d.path(file)
	is := func(suffix string) bool {
		_, err := os.Stat(path + suffix)
		return err == nil
	}
	if !is("-wal") && !is("-journal") {
		return nil
	}
	if scan, err := scanLog(path + "-wal"); err != nil || len(scan.dropped()) > 0 {
		return nil // SQLite would take a damaged log away with what is whole in it
	}
	db, err := connect(path, writing)
	if errors.Is(err, errEmptied) {
		return d.mend(lasting(ctx), file, errEmptied)
	}
	if err != nil {
		return err
	}
	putAway(ctx, db)
	_ = db.Close() // who reads it is told what is wrong with it
	return nil
}

// loadMain takes what the main file knows. Where it is damaged, files are opened
// to see for themselves.
func (d *days) loadMain(ctx context.Context) error {
	s := d.s
	all, err := readProgress(ctx, s.main.r)
	if err != nil {
		return err
	}
	sources, whole := all[ofSources]
	for _, x := range sources.Sources {
		d.raiseAll(map[string]sourceHead{x.Source: {x.Number, x.Ord}})
	}
	files, err := collect(ctx, s, "SELECT key FROM progress WHERE key LIKE ?", []any{dayPrefix + "%"}, func(r *sql.Rows) (file string, err error) {
		return file, r.Scan(&file)
	})
	for _, file := range files {
		one := day{file: file}
		if p, ok := all[file]; ok && p.File == file {
			one.state, one.sum = int(p.State), summaryOf(&p)
		}
		if one.state == sealed && !whole {
			one.state = open
		}
		s.head.reached(one.sum.lastOrd)
		d.set(one)
	}
	if err != nil {
		return err
	}
	gone, err := s.retiredRanges(ctx)
	for _, r := range gone {
		d.raiseAll(map[string]sourceHead{r.Source: {r.Last, r.LastOrd}})
	}
	return err
}

// retiredRanges returns what was deleted on purpose.
func (s *Store) retiredRanges(ctx context.Context) ([]record.Retired, error) {
	bodies, err := collect(ctx, s, "SELECT body FROM retired ORDER BY id", nil, scanBody)
	var all []record.Retired
	for _, body := range bodies {
		if r, err := record.DecodeRetired(body); err == nil {
			all = append(all, r)
		}
	}
	return all, err
}

// inspect opens a file that was written to last, mends it if it has to be, and
// learns what it holds.
func (d *days) inspect(ctx context.Context, file string) error {
	err := d.look(ctx, file)
	if errors.Is(err, errCorrupt) {
		if err := d.s.rebuild(ctx, file, &dayKind, err); err != nil {
			return err
		}
		err = d.look(ctx, file)
	}
	return err
}

func (d *days) look(ctx context.Context, file string) error {
	rescued, err := d.s.rescue(file)
	if err != nil {
		return err
	}
	db, err := establish(ctx, d.path(file), &dayKind)
	if err != nil {
		return err
	}
	defer db.Close()
	if err := dayKind.keepAll(ctx, db, rescued); err != nil {
		return err
	}
	return d.learn(ctx, db, day{file: file})
}

// learn reads what a file holds.
func (d *days) learn(ctx context.Context, db *sql.DB, one day) error {
	sum, heads, err := readDay(ctx, db)
	if err != nil {
		return err
	}
	one.sum = sum
	d.set(one)
	d.raiseAll(heads)
	return nil
}

// register writes what is known of a file, and if it is sealed of all sources,
// into the main file.
func (d *days) register(ctx context.Context, file string) error {
	one, _ := d.get(file)
	heads := map[string]sourceHead{}
	if one.state == sealed {
		heads = maps.Clone(d.heads)
	}
	return d.s.write(lasting(ctx), &request{do: func(tx *sql.Tx) error { return saveDay(tx, one, heads) }})
}

func saveDay(tx *sql.Tx, one day, heads map[string]sourceHead) error {
	if err := saveProgress(tx, one.file, one.sum.progress(one.file, one.state)); err != nil || len(heads) == 0 {
		return err
	}
	var p record.Progress
	for _, source := range slices.Sorted(maps.Keys(heads)) {
		p.Sources = append(p.Sources, record.SourceProgress{Source: source, Number: heads[source].number, Ord: heads[source].ord})
	}
	was, err := noted(tx, ofSources)
	if err != nil {
		return err
	}
	p.Sources = furthest(was.Sources, p.Sources)
	return saveProgress(tx, ofSources, p)
}
