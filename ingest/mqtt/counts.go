package mqtt

import "sync/atomic"

// Counts are what became of messages since the daemon began.
type Counts struct {
	Messages   uint64 // offered to the reader, who may not have come for the last
	Duplicates uint64 // of those, marked by the broker as sent before
	Retained   uint64 // dropped: of no known age
	Oversized  uint64 // dropped: larger than 64 KiB
	Strange    uint64 // dropped: empty, or of a topic that was not asked for
}

type counts struct{ messages, duplicates, retained, oversized, strange atomic.Uint64 }

// Counts may be called by anyone at any time.
func (l *Link) Counts() Counts {
	c := &l.counts
	return Counts{
		Messages: c.messages.Load(), Duplicates: c.duplicates.Load(),
		Retained: c.retained.Load(), Oversized: c.oversized.Load(), Strange: c.strange.Load(),
	}
}
