package journaltest

import (
	"cmp"
	"context"
	"iter"
	"math"
	"slices"

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
	kept, groups := len(m.blocks), len(m.ticks)
	numbers := make([]uint64, len(blocks))
	err := m.append(blocks, ticks, numbers)
	if err != nil { // all or nothing
		m.blocks, m.ticks = m.blocks[:kept], m.ticks[:groups]
		return err
	}
	for i := range blocks {
		blocks[i].Number = numbers[i]
	}
	return nil
}

func (m *Memory) append(blocks []record.Block, ticks []record.Tick, numbers []uint64) error {
	for i := range blocks {
		b := blocks[i]
		if err := b.Check(); err != nil {
			return err
		}
		first, last := b.Ords()
		if last > math.MaxInt64 {
			return record.ErrInvalid
		}
		end, number, repeated := uint64(0), uint64(1), uint64(0)
		for k := range m.blocks {
			if was := &m.blocks[k]; was.Source == b.Source {
				_, end = was.Ords()
				number = was.Number + 1
				if was.Equal(&b) {
					repeated = was.Number
				}
			}
		}
		switch {
		case repeated > 0:
			numbers[i] = repeated
		case first <= end:
			return journal.ErrOrder
		default:
			b.Number, numbers[i] = number, number
			b.Scans = slices.Clone(b.Scans)
			for k := range b.Scans {
				b.Scans[k].Raw = slices.Clone(b.Scans[k].Raw)
			}
			m.blocks = append(m.blocks, b)
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
		if slices.Equal(was.Ticks, ticks) {
			return nil
		}
		if _, end := was.Ords(); first <= end {
			return journal.ErrOrder
		}
	}
	m.ticks = append(m.ticks, group)
	return nil
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
	for i := range m.blocks {
		b := &m.blocks[i]
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
	for i := range m.blocks {
		if m.blocks[i].Source == source && within(&m.blocks[i], from, to) {
			picked = append(picked, &m.blocks[i])
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
	for i := range m.blocks {
		groups = append(groups, &m.blocks[i])
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
