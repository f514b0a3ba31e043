package sqlite

import (
	"context"
	"database/sql"
	"maps"
	"slices"

	"weald/stream/journal"
	"weald/stream/record"
)

// A watch sees whether the numbers of each source come without holes.
type watch struct {
	heads   map[string]sourceHead // when it began
	end     uint64                // the greatest ordinal then
	first   uint64                // from where inputs are asked for
	last    uint64                // and up to where
	begun   map[string]uint64     // number of the first block that was seen
	seen    map[string]sourceHead // the last block; its ordinal is 0 where that is not known
	retired []record.Retired
	mends   map[string]int // how often each file had been built anew
	back    *backward
}

// newWatch looks at what was deleted on purpose after it has looked at which
// files there are: a file that goes in between is then known to have gone.
func (s *Store) newWatch(ctx context.Context, first, last uint64) (*watch, error) {
	w := s.beginWatch(first, last)
	var err error
	w.retired, err = s.retiredRanges(ctx)
	return w, err
}

func (s *Store) beginWatch(first, last uint64) *watch {
	s.days.write.Lock()
	defer s.days.write.Unlock()
	return &watch{heads: maps.Clone(s.days.heads), end: s.head.now().Ord, first: first, last: last,
		begun: map[string]uint64{}, mends: maps.Clone(s.days.mends), seen: map[string]sourceHead{},
		back: &backward{s: s, files: s.days.list(), open: map[string]*sql.DB{}}}
}

// saw takes note of a block, whole or with an error, and returns what is lost:
// that block, and those that should have come before it.
func (w *watch) saw(ctx context.Context, r *blockRow, err error) []error {
	var lost []error
	before, known := w.seen[r.source]
	if !known {
		before = w.back.predecessor(ctx, r.source, r.number, r.firstOrd)
		w.begun[r.source] = r.number
	}
	switch {
	case r.number > before.number+1:
		lost = append(lost, w.hole(r.source, before.number+1, r.number-1)...)
	case err == nil && before.ord > 0 && before.ord < r.after && r.number <= w.heads[r.source].number:
		lost = append(lost, shortened(r.source, before.number, before.ord))
	}
	w.seen[r.source] = sourceHead{number: r.number}
	if err != nil {
		return append(lost, err)
	}
	w.seen[r.source] = sourceHead{r.number, r.lastOrd}
	return lost
}

// close lets go of the files that were looked into.
func (w *watch) close() {
	for _, db := range w.back.open {
		db.Close()
	}
}

// A backward looks for what comes before the first block of each source that a
// reader meets: it may be lost, and then nothing else would tell.
type backward struct {
	s     *Store
	files []day // the one with the least ordinal first
	open  map[string]*sql.DB
}

// look opens a file to look into it.
func (b *backward) look(file string) (*sql.DB, error) {
	db := b.open[file]
	if db == nil {
		var err error
		if db, err = connect(b.s.days.path(file), reading); err != nil {
			return nil, err
		}
		b.open[file] = db
	}
	return db, nil
}

// predecessor returns the last block of a source before a number, with number 0
// if there was none; where it cannot know it returns the number that it ought to
// be. Mostly that is in the first file that it looks into.
func (b *backward) predecessor(ctx context.Context, source string, number, ord uint64) sourceHead {
	ought, best := sourceHead{number: number - 1}, sourceHead{}
	for i := len(b.files) - 1; i >= 0 && best.number < ought.number; i-- {
		one := &b.files[i]
		if one.sum.blocks == 0 || one.sum.firstOrd > ord {
			continue
		}
		if one.missing {
			return ought // that is told already
		}
		db, err := b.look(one.file)
		if err != nil {
			return ought
		}
		// The length is asked for so that the row itself has to be there.
		var found, end int64
		err = eachRow(ctx, db, `SELECT number, last_ord FROM blocks WHERE source = `+sourceNamed+`
			AND number < ? AND length(body) > 0 ORDER BY number DESC LIMIT 1`, []any{source, int64(number)}, func(r *sql.Rows) error { return r.Scan(&found, &end) })
		if err != nil {
			return ought
		}
		if found > 0 && uint64(found) > best.number {
			best = sourceHead{uint64(found), uint64(end)}
		}
	}
	return best
}

// hole returns the losses of a hole, without what was deleted on purpose.
func (w *watch) hole(source string, first, last uint64) []error {
	var lost []error
	for _, r := range missing(first, last, source, w.retired, nil) {
		lost = append(lost, &journal.Loss{Source: source, First: r.first, Last: r.last})
	}
	return lost
}

// tails returns the losses at the end: what each source had come to, and nobody
// saw.
func (w *watch) tails() []error {
	var lost []error
	for _, source := range slices.Sorted(maps.Keys(w.heads)) {
		h, seen := w.heads[source], w.seen[source]
		switch {
		case h.ord > w.last || h.ord < w.first:
			continue // the end was not asked for
		case seen.number == 0:
			seen.number = h.number - 1 // nothing is known of those before
		}
		switch {
		case seen.number < h.number:
			lost = append(lost, w.hole(source, seen.number+1, h.number)...)
		case seen.number == h.number && seen.ord > 0 && seen.ord < h.ord:
			lost = append(lost, shortened(source, seen.number, seen.ord))
		}
	}
	return lost
}
