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

// A large ward is written a share after the other, so that an event need not wait
// for all of it: each share is what holds so many readings, with those of blocks
// that are written again, or a little more. Who loses the power between two shares
// has lost the last second of some sources and not of others, as if those had been
// silent; an event is never among them, as it takes all that waits to the disk.
const shareHolds = 1 << 18

// write makes all readings so far durable. Where it returns an error some of them
// may be.
func (k *Keeper) write(ctx context.Context) error {
	k.mu.Lock()
	k.room.measure(k.now())
	k.mu.Unlock()
	k.writing.Lock()
	err := k.catchUp(ctx)
	k.writing.Unlock()
	if err != nil {
		return err
	}
	for from, more := 0, true; more; more = from < len(k.open) {
		next, err := k.writeShare(ctx, from)
		if err != nil {
			return err
		}
		from = next
	}
	return nil
}

// writeShare writes what waits of some sources from one on, and returns the first
// of those it left. After a failure all is one share, so that what became of it is
// one answer.
func (k *Keeper) writeShare(ctx context.Context, from int) (next int, err error) {
	k.writing.Lock()
	defer k.writing.Unlock()
	if k.doubt {
		return len(k.open), k.append(ctx, true, wanted{to: len(k.open)})
	}
	k.mu.Lock()
	holds := 0
	for next = from; next < len(k.open) && holds < k.share; next++ {
		if b := &k.blocks[next]; len(b.Scans) > 0 {
			holds += (len(k.open[next].block.Scans) + len(b.Scans)) * len(b.Scans[0].Raw)
		}
	}
	k.mu.Unlock()
	return next, k.append(ctx, true, wanted{from, next})
}

// hurry is write for an event, which waits for it: to write the blocks of a large
// ward again takes longer than all that is new. New ones begin instead. For a record that is
// out of reach it does not wait, and not for what waited for that: to hand it over takes long.
func (k *Keeper) hurry(ctx context.Context) error {
	if k.behind() {
		return journal.ErrUnreached
	}
	k.writing.Lock()
	defer k.writing.Unlock()
	if k.behind() { // who held it has found that out
		return journal.ErrUnreached
	}
	return k.append(ctx, k.doubt, wanted{to: len(k.open)})
}

// wanted are sources, as a range. With the last of them go the ticks: whoever lost
// a reading has not been shown what time it was after it.
type wanted struct{ from, to int }

// append writes what waits, in blocks that grow or in new ones. The caller holds
// writing.
func (k *Keeper) append(ctx context.Context, grow bool, of wanted) error {
	err := k.appendOnce(ctx, grow, of)
	if errors.Is(err, journal.ErrOrder) && k.letGo() {
		err = k.appendOnce(ctx, grow, of) // what was to grow is damaged; what is new is not
	}
	k.doubt = err != nil
	return err
}

func (k *Keeper) appendOnce(ctx context.Context, grow bool, of wanted) error {
	blocks, parts, ticks := k.take(grow, of)
	if len(blocks) == 0 && len(ticks) == 0 {
		return nil
	}
	bound, cancel := k.bound(ctx)
	defer cancel()
	err := k.reached(k.journal.AppendReadings(bound, blocks, ticks))
	k.mu.Lock()
	defer k.mu.Unlock()
	if err != nil {
		k.putBack(blocks, parts, ticks)
		return err
	}
	for i := range blocks {
		source := parts[i].source
		o := &k.open[source]
		if o.set(blocks[i], parts[i].kept, &k.counts); !o.grows(k.ends[source]) {
			k.ends[source] = blockScans
			o.end(&k.counts)
		}
		k.reuse(blocks[i].Scans)
	}
	return nil
}

// reuse takes the room of readings that nobody needs any more.
func (k *Keeper) reuse(scans []record.Scan) {
	for i := range scans {
		k.spare.put(scans[i].Raw)
	}
}

// leastEnds is how many scans a block takes at least that begins before its turn.
const leastEnds = 3

// turns are how many scans the first block of each source takes, so that those of a
// ward do not all end in the same second: what they hold until then is half as much,
// and is used again at once.
func turns(sources int) []int {
	ends := make([]int, sources)
	for i := range ends {
		ends[i] = blockScans - i%blockScans
	}
	return ends
}

// begun says that another block of a source begins before the one of so many scans
// had its turn to end. It ends at that turn, if there is enough until then.
func (k *Keeper) begun(source, scans int) {
	if k.ends[source] -= scans; k.ends[source] < leastEnds {
		k.ends[source] = blockScans
	}
}

// letGo ends all blocks that were to grow, and reports whether there are any. The
// caller holds writing.
func (k *Keeper) letGo() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	any := false
	for i := range k.open {
		any = any || len(k.open[i].block.Scans) > 0
		k.open[i].end(&k.counts)
	}
	return any
}

// take takes what waits, behind what was kept of blocks that grow. The caller
// holds writing.
func (k *Keeper) take(grow bool, of wanted) (blocks []record.Block, parts []part, ticks []record.Tick) {
	k.mu.Lock()
	defer k.mu.Unlock()
	for i := of.from; i < of.to; i++ {
		b := &k.blocks[i]
		if len(b.Scans) == 0 {
			continue
		}
		k.pending -= len(b.Scans)
		for j := range b.Scans {
			k.holds -= len(b.Scans[j].Raw)
		}
		was, again := k.open[i].block.Scans, []record.Scan(nil)
		if !grow || len(was) > 0 && b.Scans[0].Arrived.Sub(was[0].Arrived) >= blockTime {
			k.begun(i, len(was))
		} else {
			again = k.open[i].scans(&k.spare)
		}
		kept := len(again)
		for scans := slices.Concat(again, b.Scans); len(scans) > 0; kept = 0 {
			n := min(len(scans), max(1, blockHolds/max(1, len(scans[0].Raw))))
			one := *b
			one.Scans, scans = scans[:n:n], scans[n:]
			blocks, parts = append(blocks, one), append(parts, part{i, kept})
		}
		b.Scans = nil
	}
	if of.to == len(k.blocks) {
		ticks, k.ticks = k.ticks, nil
		k.pending -= len(ticks)
	}
	return blocks, parts, ticks
}

// putBack lets what could not be written wait again, before what came since.
func (k *Keeper) putBack(blocks []record.Block, parts []part, ticks []record.Tick) {
	for i, b := range slices.Backward(blocks) {
		k.reuse(b.Scans[:parts[i].kept])
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
