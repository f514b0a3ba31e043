package keeper

import (
	"context"
	"errors"
	"slices"
	"time"

	"weald/stream/journal"
	"weald/stream/record"
)

// A block compresses well when it has some scans to tell what changes and what
// does not. One that is written with fewer, since readings must not wait for it,
// is written again with what came since: it grows, until it has blockScans of
// them, by what comes within blockTime. And no block takes more readings than
// blockHolds: what has waited for long may be more.
const (
	blockScans = 10
	blockTime  = 10 * time.Second
	blockHolds = 1 << 20
)

// A part is a block on its way to the disk.
type part struct {
	source int
	kept   int // how many of its scans were kept before
}

// write makes all readings so far durable.
func (k *Keeper) write(ctx context.Context) error {
	k.writing.Lock()
	defer k.writing.Unlock()
	return k.append(ctx, true)
}

// hurry is write for an event, which waits for it: to write the blocks of a large
// ward again takes longer than all that is new. New ones begin instead.
func (k *Keeper) hurry(ctx context.Context) error {
	k.writing.Lock()
	defer k.writing.Unlock()
	return k.append(ctx, k.doubt)
}

// append writes what waits, in blocks that grow or in new ones. The caller holds
// writing.
func (k *Keeper) append(ctx context.Context, grow bool) error {
	err := k.appendOnce(ctx, grow)
	if errors.Is(err, journal.ErrOrder) && k.letGo() {
		err = k.appendOnce(ctx, grow) // what was to grow is damaged; what is new is not
	}
	k.doubt = err != nil
	return err
}

func (k *Keeper) appendOnce(ctx context.Context, grow bool) error {
	blocks, parts, ticks := k.take(grow)
	if len(blocks) == 0 && len(ticks) == 0 {
		return nil
	}
	err := k.journal.AppendReadings(ctx, blocks, ticks)
	k.mu.Lock()
	defer k.mu.Unlock()
	if err != nil {
		k.putBack(blocks, parts, ticks)
		return err
	}
	for i := range blocks {
		open := &k.open[parts[i].source]
		if *open = blocks[i]; grows(open) {
			continue
		}
		for j := range open.Scans {
			k.reuse(open.Scans[j].Raw)
		}
		open.Scans = nil
	}
	return nil
}

// grows reports whether a block that was kept takes more scans.
func grows(b *record.Block) bool {
	n := len(b.Scans)
	return n < blockScans && (n+1)*len(b.Scans[0].Raw) <= blockHolds
}

// letGo ends all blocks that were to grow, and reports whether there are any. The
// caller holds writing.
func (k *Keeper) letGo() bool {
	any := false
	for i := range k.open {
		any = any || len(k.open[i].Scans) > 0
		k.open[i].Scans = nil
	}
	return any
}

// take takes what waits, behind what was kept of blocks that grow. The caller
// holds writing.
func (k *Keeper) take(grow bool) (blocks []record.Block, parts []part, ticks []record.Tick) {
	k.mu.Lock()
	defer k.mu.Unlock()
	for i := range k.blocks {
		b := &k.blocks[i]
		if len(b.Scans) == 0 {
			continue
		}
		open := k.open[i].Scans
		if !grow || len(open) > 0 && b.Scans[0].Arrived.Sub(open[0].Arrived) >= blockTime {
			open = nil
		}
		kept := len(open)
		for scans := slices.Concat(open, b.Scans); len(scans) > 0; kept = 0 {
			n := min(len(scans), max(1, blockHolds/max(1, len(scans[0].Raw))))
			one := *b
			one.Scans, scans = scans[:n:n], scans[n:]
			blocks, parts = append(blocks, one), append(parts, part{i, kept})
		}
		b.Scans = nil
	}
	ticks, k.ticks, k.pending, k.holds = k.ticks, nil, 0, 0
	return blocks, parts, ticks
}

// putBack lets what could not be written wait again, before what came since.
func (k *Keeper) putBack(blocks []record.Block, parts []part, ticks []record.Tick) {
	for i, b := range slices.Backward(blocks) {
		scans := b.Scans[parts[i].kept:]
		waits := &k.blocks[parts[i].source]
		waits.Scans = slices.Concat(scans, waits.Scans)
		k.pending += len(scans)
		k.holds += len(scans) * len(b.Scans[0].Raw)
	}
	k.ticks = append(ticks, k.ticks...)
	k.pending += len(ticks)
	k.makeRoom()
}
