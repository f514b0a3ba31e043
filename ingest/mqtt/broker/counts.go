package broker

import (
	"sync/atomic"

	"github.com/mochi-mqtt/server/v2/packets"

	"weald/ingest/mqtt/internal/handover"
)

// Counts are what became of a bridge's messages since the daemon began.
type Counts struct {
	Messages   uint64 // offered to the reader, who may not have come for the last
	Duplicates uint64 // of those, marked by the client as sent before
	Oversized  uint64 // dropped: larger than 64 KiB
	Empty      uint64 // dropped: without a byte
}

type counts struct{ messages, duplicates, oversized, empty atomic.Uint64 }

// take counts p and reports whether it is to be passed on.
func (c *counts) take(p packets.Packet) bool {
	switch {
	case len(p.Payload) == 0:
		c.empty.Add(1)
		return false
	case len(p.Payload) > handover.MaxFrame:
		c.oversized.Add(1)
		return false
	}
	c.messages.Add(1)
	if p.FixedHeader.Dup {
		c.duplicates.Add(1)
	}
	return true
}

func (c *counts) read() Counts {
	return Counts{
		Messages: c.messages.Load(), Duplicates: c.duplicates.Load(),
		Oversized: c.oversized.Load(), Empty: c.empty.Load(),
	}
}
