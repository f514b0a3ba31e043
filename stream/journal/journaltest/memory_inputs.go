package journaltest

import (
	"cmp"
	"context"
	"iter"
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// AppendReadings implements journal.Inputs.
func (m *Memory) AppendReadings(ctx context.Context, blocks []record.Block, ticks []record.Tick) error {
	if err := ctx.Err(); err != nil {
		return context.Cause(ctx)
	}
	if err := m.lock(); err != nil {
		return err
	}
	defer m.mu.Unlock()
	before, groups := slices.Clone(m.blocks), len(m.ticks)
	numbers := make([]uint64, len(blocks))
	err := m.append(blocks, ticks, numbers)
	if err != nil { // all or nothing
		m.blocks, m.ticks = before, m.ticks[:groups]
		return err
	}
	for i := range blocks {
		blocks[i].Number = numbers[i]
	}
	return nil
}

func (m *Memory) append(blocks []record.Block, ticks []record.Tick, numbers []uint64) (err error) {
	arrived := sample.Past
	for i := range blocks {
		if err := blocks[i].Check(); err != nil {
			return err
		}
		if _, last := blocks[i].Ords(); last > math.MaxInt64 {
			return record.ErrInvalid
		}
		for k := range blocks[i].Scans {
			arrived = max(arrived, blocks[i].Scans[k].Arrived)
		}
	}
	for i := range blocks {
		if numbers[i], err = m.block(blocks[i], arrived.Time().Format(time.DateOnly)); err != nil {
			return err
		}
	}
	if len(ticks) == 0 {
		return nil
	}
	group := record.Ticks{Number: uint64(len(m.ticks) + 1), Ticks: slices.Clone(ticks)}
	if err := group.Check(); err != nil {
		return err
	}
	first, last := group.Ords()
	if last > math.MaxInt64 {
		return record.ErrInvalid
	}
	for _, was := range m.ticks {
		if start, end := was.Ords(); first > end {
			continue
		} else if first != start {
			return journal.ErrOrder
		}
		n := min(len(was.Ticks), len(group.Ticks))
		if !slices.Equal(was.Ticks[:n], group.Ticks[:n]) {
			return journal.ErrOrder
		}
		if group.Ticks = group.Ticks[n:]; len(group.Ticks) == 0 {
			return nil
		}
		first, _ = group.Ords()
	}
	m.ticks = append(m.ticks, group)
	return nil
}

// block keeps what is new in b, on a day, and returns the number of the block that
// has its last scan.
func (m *Memory) block(b record.Block, day string) (uint64, error) {
	for {
		first, _ := b.Ords()
		var last, was *block
		for _, one := range m.blocks {
			if one.Source != b.Source {
				continue
			}
			if last = one; one.Scans[0].Ord == first {
				was = one
			}
		}
		end := uint64(0)
		b.Number, b.After = 1, 0
		if last != nil {
			_, end = last.Ords()
			b.Number, b.After = last.Number+1, end
		}
		switch {
		case first > end:
			m.blocks = append(m.blocks, &block{clone(b), day})
			return b.Number, nil
		case was == nil:
			return 0, journal.ErrOrder
		case b.Begins(&was.Block):
			return was.Number, nil
		case !was.Begins(&b):
			return 0, journal.ErrOrder
		case was == last && was.day == day:
			b.Number, b.After = was.Number, was.After
			m.blocks[slices.Index(m.blocks, was)] = &block{clone(b), day} // who reads has the shorter one
			return b.Number, nil
		}
		b.Scans = b.Scans[len(was.Scans):]
	}
}

func clone(b record.Block) record.Block {
	b.Scans = slices.Clone(b.Scans)
	for k := range b.Scans {
		b.Scans[k].Raw = slices.Clone(b.Scans[k].Raw)
	}
	return b
}

// Inputs implements journal.Inputs.
func (m *Memory) Inputs(ctx context.Context, first, last uint64) iter.Seq2[record.Input, error] {
	if err := m.lock(); err != nil {
		return failed[record.Input](err)
	}
	defer m.mu.Unlock()
	var picked []record.Input
	add := func(in record.Input) {
		if in.Ord >= first && in.Ord <= last {
			picked = append(picked, in)
		}
	}
	for _, b := range m.blocks {
		for k := range b.Scans {
			add(record.Input{Ord: b.Scans[k].Ord, Scan: &b.Scans[k], Source: b.Source, Config: b.Config})
		}
	}
	for i := range m.ticks {
		for k := range m.ticks[i].Ticks {
			add(record.Input{Ord: m.ticks[i].Ticks[k].Ord, Tick: &m.ticks[i].Ticks[k]})
		}
	}
	for _, e := range m.entries {
		if e.Ord > 0 {
			add(record.Input{Ord: e.Ord, Entry: &e})
		}
	}
	slices.SortStableFunc(picked, func(a, b record.Input) int { return cmp.Compare(a.Ord, b.Ord) })
	return all(ctx, picked)
}

// Readings implements journal.Inputs.
func (m *Memory) Readings(ctx context.Context, source string, from, to sample.Instant) iter.Seq2[*record.Block, error] {
	if err := m.lock(); err != nil {
		return failed[*record.Block](err)
	}
	defer m.mu.Unlock()
	var picked []*record.Block
	for _, b := range m.blocks {
		if b.Source == source && within(&b.Block, from, to) {
			picked = append(picked, &b.Block)
		}
	}
	return all(ctx, picked)
}

func within(b *record.Block, from, to sample.Instant) bool {
	return slices.ContainsFunc(b.Scans, func(s record.Scan) bool { return s.At >= from && s.At < to })
}

// Span implements journal.Inputs.
func (m *Memory) Span(_ context.Context, from, to sample.Instant) (first, last uint64, err error) {
	if err := m.lock(); err != nil {
		return 0, 0, err
	}
	defer m.mu.Unlock()
	first = math.MaxUint64
	type group interface {
		Span() (first, last sample.Instant)
		Ords() (first, last uint64)
	}
	var groups []group
	for _, b := range m.blocks {
		groups = append(groups, b)
	}
	for i := range m.ticks {
		groups = append(groups, &m.ticks[i])
	}
	for _, g := range groups {
		if begin, end := g.Span(); begin < to && end >= from && from < to {
			a, b := g.Ords()
			first, last = min(first, a), max(last, b)
		}
	}
	if last == 0 {
		return 0, 0, journal.ErrNotFound
	}
	return first, last, nil
}

// PutSnapshot implements journal.Inputs.
func (m *Memory) PutSnapshot(_ context.Context, s record.Snapshot) error {
	if err := m.lock(); err != nil {
		return err
	}
	defer m.mu.Unlock()
	if s.Ord > m.head().Ord {
		return journal.ErrOrder
	}
	s.Body = slices.Clone(s.Body)
	m.snapshots = slices.DeleteFunc(m.snapshots, func(o record.Snapshot) bool { return o.Ord == s.Ord })
	m.snapshots = append(m.snapshots, s)
	return nil
}

// Snapshot implements journal.Inputs. Memory holds all of them.
func (m *Memory) Snapshot(_ context.Context, last uint64) (record.Snapshot, error) {
	if err := m.lock(); err != nil {
		return record.Snapshot{}, err
	}
	defer m.mu.Unlock()
	var newest *record.Snapshot
	for i := range m.snapshots {
		if s := &m.snapshots[i]; s.Ord <= last && (newest == nil || s.Ord > newest.Ord) {
			newest = s
		}
	}
	if newest == nil {
		return record.Snapshot{}, journal.ErrNotFound
	}
	return *newest, nil
}
