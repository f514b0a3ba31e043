package sqlite

import (
	"container/heap"
	"context"
	"database/sql"
	"iter"
	"math"

	"weald/stream/journal"
	"weald/stream/record"
)

// A run is some inputs of one block, of one group of ticks, or one entry, with
// ascending ordinals.
type run struct {
	block *record.Block
	ticks *record.Ticks
	entry *record.Entry
	at    int
}

func (r *run) ord() uint64 {
	switch {
	case r.block != nil:
		return r.block.Scans[r.at].Ord
	case r.ticks != nil:
		return r.ticks.Ticks[r.at].Ord
	}
	return r.entry.Ord
}

func (r *run) input() record.Input {
	switch {
	case r.block != nil:
		in := record.Input{Ord: r.ord(), Scan: &r.block.Scans[r.at], Source: r.block.Source, Config: r.block.Config}
		if r.at == len(r.block.Scans)-1 {
			in.Spent = r.block.Recycle
		}
		return in
	case r.ticks != nil:
		return record.Input{Ord: r.ord(), Tick: &r.ticks.Ticks[r.at]}
	}
	return record.Input{Ord: r.ord(), Entry: r.entry}
}

// step goes to the next input and reports whether there is one.
func (r *run) step() bool {
	r.at++
	return r.block != nil && r.at < len(r.block.Scans) || r.ticks != nil && r.at < len(r.ticks.Ticks)
}

// runs are a heap, the one with the least ordinal first.
type runs []*run

func (h runs) Len() int           { return len(h) }
func (h runs) Less(i, j int) bool { return h[i].ord() < h[j].ord() }
func (h runs) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *runs) Push(x any)        { *h = append(*h, x.(*run)) }
func (h *runs) Pop() any {
	last := (*h)[len(*h)-1]
	*h = (*h)[:len(*h)-1]
	return last
}

// Inputs implements journal.Inputs.
func (s *Store) Inputs(ctx context.Context, first, last uint64) iter.Seq2[record.Input, error] {
	first, last = min(first, math.MaxInt64), min(last, math.MaxInt64)
	return func(yield func(record.Input, error) bool) {
		if err := s.alive(); err != nil {
			yield(record.Input{}, err)
			return
		}
		w, err := s.newWatch(ctx, first, last)
		if err != nil {
			yield(record.Input{}, err)
			return
		}
		defer w.close()
		last := min(last, w.end)
		streams, lost := s.streams(ctx, selection{first: first, last: last}, func(m *summary) bool { return m.meets(first, last) })
		for _, err := range lost {
			if !yield(record.Input{}, err) {
				return
			}
		}
		nextRow, stopRows := iter.Pull2(merge(ctx, streams))
		defer stopRows()
		nextEntry, stopEntries := iter.Pull2(s.inputEntries(ctx, first, last))
		defer stopEntries()
		if !feed(&feeder{ctx: ctx, watch: w, first: first, last: last, yield: yield, row: nextRow, entry: nextEntry}) {
			return
		}
		for _, err := range append(w.tails(), w.skipped(ctx)...) {
			if !yield(record.Input{}, err) {
				return
			}
		}
	}
}

// A feeder merges blocks and entries into inputs.
type feeder struct {
	ctx         context.Context
	watch       *watch
	first, last uint64
	yield       func(record.Input, error) bool
	row         func() (blockRow, error, bool)
	entry       func() (record.Entry, error, bool)
	open        runs
}

// feed merges until both sequences end, and reports whether yield wants more.
// What cannot be read is told at once.
func feed(f *feeder) bool {
	var row blockRow
	var entry record.Entry
	haveRow, haveEntry, wanted := false, false, true
	for {
		if !haveRow {
			row, haveRow, wanted = next(f, f.row)
		}
		if wanted && !haveEntry {
			entry, haveEntry, wanted = next(f, f.entry)
		}
		if !wanted {
			return false
		}
		// Everything open that comes before what is still closed can go out.
		until := uint64(math.MaxUint64)
		if haveRow {
			until = row.firstOrd
		}
		if haveEntry {
			until = min(until, entry.Ord)
		}
		if !f.drain(until) {
			return false
		}
		switch {
		case haveRow && (!haveEntry || row.firstOrd <= entry.Ord):
			haveRow = false
			if !f.take(&row) {
				return false
			}
		case haveEntry:
			haveEntry = false
			e := entry
			heap.Push(&f.open, &run{entry: &e})
		default:
			return true
		}
	}
}

// next takes the next of a sequence, if there is one, and tells what cannot be read before
// it. It reports whether yield wants more.
func next[T any](f *feeder, pull func() (T, error, bool)) (v T, have, wanted bool) {
	for {
		var err error
		if v, err, have = pull(); err == nil {
			return v, have, true
		}
		if !f.yield(record.Input{}, err) {
			return v, false, false
		}
	}
}

// take opens a block, or says why it cannot.
func (f *feeder) take(row *blockRow) bool {
	err := row.err
	if err != nil {
		err = &journal.Loss{Source: row.source, First: row.number, Last: row.number, Err: err}
	}
	for _, err := range f.watch.saw(f.ctx, row, err) {
		if !f.yield(record.Input{}, err) {
			return false
		}
	}
	if err == nil {
		heap.Push(&f.open, &run{block: row.block, ticks: row.ticks})
	}
	return true
}

// drain yields all open inputs with ordinals before until.
func (f *feeder) drain(until uint64) bool {
	for len(f.open) > 0 && f.open[0].ord() < until {
		r := f.open[0]
		ord := r.ord()
		if ord > f.last {
			heap.Pop(&f.open)
			continue
		}
		if ord >= f.first && !f.yield(r.input(), nil) {
			return false
		}
		if r.step() {
			heap.Fix(&f.open, 0)
		} else {
			heap.Pop(&f.open)
		}
	}
	return true
}

// inputEntries yields the entries that are inputs, in the order of their
// ordinals.
func (s *Store) inputEntries(ctx context.Context, first, last uint64) iter.Seq2[record.Entry, error] {
	return func(yield func(record.Entry, error) bool) {
		from := max(int64(first), 1)
		for {
			type ordRow struct {
				row
				ord int64
			}
			rows, err := collect(ctx, s, "SELECT position, ord, body FROM entries WHERE ord >= ? AND ord <= ? ORDER BY ord LIMIT ?",
				[]any{from, int64(last), page}, func(r *sql.Rows) (one ordRow, err error) {
					return one, r.Scan(&one.position, &one.ord, &one.body)
				})
			if err != nil {
				yield(record.Entry{}, err)
				return
			}
			for _, r := range rows {
				e, err := record.DecodeEntry(r.body)
				if err != nil {
					e, err = record.Entry{}, &journal.Loss{File: mainName, Source: journal.Entries, First: uint64(r.position), Last: uint64(r.position), Err: err}
				}
				if !yield(e, err) {
					return
				}
				from = r.ord + 1
			}
			if len(rows) < page {
				return
			}
		}
	}
}
