package journaltest

import (
	"cmp"
	"context"
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"
	"sync"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// Memory is a journal in memory: the shortest thing that does what package
// journal promises. Its zero value is an empty record.
type Memory struct {
	mu        sync.Mutex // guards all
	closed    bool
	entries   []record.Entry
	link      record.Link
	blocks    []*block
	ticks     []record.Ticks
	snapshots []record.Snapshot
	documents map[string][]record.Document
	history   map[string]map[sample.Instant]record.Point
	changed   chan struct{} // closed when an entry comes, or the end
}

// A block is one with the UTC day on which it came. What is in it never changes.
type block struct {
	record.Block
	day string
}

var _ journal.Journal = (*Memory)(nil)

// Open makes a Memory that was closed usable again, and returns it.
func (m *Memory) Open() journal.Journal {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.closed = false
	return m
}

// lock returns ErrClosed, or nil with mu held.
func (m *Memory) lock() error {
	m.mu.Lock()
	if m.closed {
		m.mu.Unlock()
		return journal.ErrClosed
	}
	return nil
}

// Close implements journal.Journal.
func (m *Memory) Close() error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.closed = true
	m.wake()
	return nil
}

func (m *Memory) wake() {
	if m.changed != nil {
		close(m.changed)
		m.changed = nil
	}
}

// Append implements journal.Log.
func (m *Memory) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	if err := ctx.Err(); err != nil {
		return 0, context.Cause(ctx)
	}
	if err := m.lock(); err != nil {
		return 0, err
	}
	defer m.mu.Unlock()
	ord := m.entryOrd()
	for i := range entries {
		e := &entries[i]
		if err := e.Check(); err != nil {
			return 0, err
		}
		if e.Ord > math.MaxInt64 {
			return 0, record.ErrInvalid
		}
		if e.Ord != 0 && e.Ord <= ord {
			return 0, journal.ErrOrder
		}
		ord = max(ord, e.Ord)
	}
	n := len(m.entries)
	if err := m.keep(entries); err != nil {
		m.entries = m.entries[:n]
		return 0, err
	}
	m.wake()
	return record.Position(len(m.entries)), nil
}

// keep appends entries, also some of those of which one cannot be.
func (m *Memory) keep(entries []record.Entry) error {
	link := m.link
	sums := make([]record.Sum, 0, len(entries))
	for _, e := range entries {
		e.Position = record.Position(len(m.entries) + 1)
		var err error
		if _, ok := e.Body.(record.Audit); ok {
			if link, err = e.Chain(link, sums); err != nil {
				return err
			}
		}
		body, err := e.Append(nil)
		if err != nil {
			return err
		}
		sums, m.entries = append(sums, record.SumOf(body)), append(m.entries, e)
	}
	m.link = link
	return nil
}

func (m *Memory) entryOrd() (ord uint64) {
	for i := range m.entries {
		ord = max(ord, m.entries[i].Ord)
	}
	return ord
}

// Entries implements journal.Log.
func (m *Memory) Entries(ctx context.Context, q journal.Query) iter.Seq2[record.Entry, error] {
	if err := m.lock(); err != nil {
		return failed[record.Entry](err)
	}
	defer m.mu.Unlock()
	var picked []record.Entry
	for i := range m.entries {
		if q.Takes(&m.entries[i]) {
			picked = append(picked, m.entries[i])
		}
	}
	if q.Newest {
		slices.Reverse(picked)
	}
	return all(ctx, picked)
}

// Wait implements journal.Log.
func (m *Memory) Wait(ctx context.Context, after record.Position) error {
	for {
		if err := m.lock(); err != nil {
			return err
		}
		if record.Position(len(m.entries)) > after {
			m.mu.Unlock()
			return nil
		}
		if m.changed == nil {
			m.changed = make(chan struct{})
		}
		changed := m.changed
		m.mu.Unlock()
		select {
		case <-changed:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// Head implements journal.Journal.
func (m *Memory) Head(context.Context) (journal.Head, error) {
	if err := m.lock(); err != nil {
		return journal.Head{}, err
	}
	defer m.mu.Unlock()
	return m.head(), nil
}

func (m *Memory) head() journal.Head {
	h := journal.Head{Position: record.Position(len(m.entries)), Ord: m.entryOrd()}
	for _, b := range m.blocks {
		_, last := b.Ords()
		h.Ord = max(h.Ord, last)
	}
	for i := range m.ticks {
		_, last := m.ticks[i].Ords()
		h.Ord = max(h.Ord, last)
	}
	return h
}

// Check implements journal.Journal: memory is in order.
func (m *Memory) Check(context.Context) iter.Seq2[journal.Finding, error] {
	if err := m.lock(); err != nil {
		return failed[journal.Finding](err)
	}
	defer m.mu.Unlock()
	return func(func(journal.Finding, error) bool) {}
}

// PutDocument implements journal.Shelf.
func (m *Memory) PutDocument(_ context.Context, d record.Document) (uint64, error) {
	if _, err := d.Append(nil); err != nil {
		return 0, err
	}
	if err := m.lock(); err != nil {
		return 0, err
	}
	defer m.mu.Unlock()
	if m.documents == nil {
		m.documents = map[string][]record.Document{}
	}
	if d.Version != uint64(len(m.documents[d.Name])) {
		return 0, journal.ErrConflict
	}
	d.Version++
	d.Body = slices.Clone(d.Body)
	m.documents[d.Name] = append(m.documents[d.Name], d)
	return d.Version, nil
}

// Document implements journal.Shelf.
func (m *Memory) Document(_ context.Context, name string, version uint64) (record.Document, error) {
	if err := m.lock(); err != nil {
		return record.Document{}, err
	}
	defer m.mu.Unlock()
	versions := m.documents[name]
	n := version
	if version == 0 {
		n = uint64(len(versions))
	}
	if n == 0 || n > uint64(len(versions)) || version == 0 && versions[n-1].Body == nil {
		return record.Document{}, fmt.Errorf("document %s: %w", name, journal.ErrNotFound)
	}
	return versions[n-1], nil
}

// Documents implements journal.Shelf.
func (m *Memory) Documents(ctx context.Context, prefix string) iter.Seq2[record.Document, error] {
	if err := m.lock(); err != nil {
		return failed[record.Document](err)
	}
	defer m.mu.Unlock()
	var picked []record.Document
	for name, versions := range m.documents {
		if d := versions[len(versions)-1]; strings.HasPrefix(name, prefix) && d.Body != nil {
			picked = append(picked, d)
		}
	}
	slices.SortFunc(picked, func(a, b record.Document) int { return strings.Compare(a.Name, b.Name) })
	return all(ctx, picked)
}

// PutHistory implements journal.History.
func (m *Memory) PutHistory(_ context.Context, stretches ...record.Stretch) error {
	for i := range stretches {
		if err := stretches[i].Check(); err != nil {
			return err
		}
	}
	if err := m.lock(); err != nil {
		return err
	}
	defer m.mu.Unlock()
	if m.history == nil {
		m.history = map[string]map[sample.Instant]record.Point{}
	}
	for _, s := range stretches {
		key := historyKey(s.Place, s.Series, s.Tier)
		if m.history[key] == nil {
			m.history[key] = map[sample.Instant]record.Point{}
		}
		for _, p := range s.Points {
			m.history[key][p.At] = p
		}
	}
	return nil
}

func historyKey(place, series string, tier record.Tier) string {
	return fmt.Sprintf("%q %q %d", place, series, tier)
}

// History implements journal.History.
func (m *Memory) History(_ context.Context, place, series string, tier record.Tier, from, to sample.Instant, dst []record.Point) ([]record.Point, error) {
	if err := m.lock(); err != nil {
		return dst, err
	}
	defer m.mu.Unlock()
	var points []record.Point
	for at, p := range m.history[historyKey(place, series, tier)] {
		if at >= from && at < to {
			points = append(points, p)
		}
	}
	slices.SortFunc(points, func(a, b record.Point) int { return cmp.Compare(a.At, b.At) })
	return append(dst, points...), nil
}

func failed[T any](err error) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		var none T
		yield(none, err)
	}
}

func all[T any](ctx context.Context, some []T) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		for _, one := range some {
			if ctx.Err() != nil {
				yield(*new(T), context.Cause(ctx))
				return
			}
			if !yield(one, nil) {
				return
			}
		}
	}
}

// Bodies implements journal.Chained.
func (m *Memory) Bodies(ctx context.Context) iter.Seq2[journal.Body, error] {
	if err := m.lock(); err != nil {
		return failed[journal.Body](err)
	}
	defer m.mu.Unlock()
	var bodies []journal.Body
	for i := range m.entries {
		e := &m.entries[i]
		b, err := e.Append(nil)
		if err != nil {
			return failed[journal.Body](err)
		}
		bodies = append(bodies, journal.Body{Position: e.Position, Bytes: b})
	}
	return all(ctx, bodies)
}
