package sqlite

import (
	"fmt"
	"maps"
	"slices"

	"weald/stream/journal"
)

// A block that grew may be there as it was before, where the page with its last
// version was damaged. Its number does not tell: the block after it does, which
// says where it ended, or the head of the source, if it is the last.

// ends are where the blocks of a source end and ought to. What agrees is
// forgotten, so that a long record takes no room.
type ends struct {
	there map[uint64]uint64 // the last ordinal of each block whose end nobody has stated yet
	ought map[uint64]uint64 // the stated one of each that was not there yet, or is too short
}

// saw takes note of a block, of which there may be several versions.
func (e *ends) saw(r *blockRow) {
	e.there[r.number] = max(e.there[r.number], r.lastOrd)
	e.settle(r.number)
	if r.after > 0 {
		e.state(r.number-1, r.after)
	}
}

// state takes note of where a block ought to end.
func (e *ends) state(number, last uint64) {
	e.ought[number] = max(e.ought[number], last)
	e.settle(number)
}

func (e *ends) settle(number uint64) {
	if last, known := e.ought[number]; known && e.there[number] >= last {
		delete(e.ought, number)
		delete(e.there, number)
	}
}

// short returns what is lost of blocks that are there.
func (e *ends) short(source string) []journal.Loss {
	var lost []journal.Loss
	for _, number := range slices.Sorted(maps.Keys(e.ought)) {
		if last, there := e.there[number]; there && last < e.ought[number] {
			lost = append(lost, *shortened(source, number, last))
		}
	}
	return lost
}

// shortened is the loss of the scans that a block had grown by.
func shortened(source string, number, last uint64) *journal.Loss {
	return &journal.Loss{Source: source, First: number, Last: number, Err: fmt.Errorf("it is there as it was when it ended with ordinal %d", last)}
}
