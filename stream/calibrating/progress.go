package calibrating

import (
	"time"

	"weald/ingest/calib/protocol"
	"weald/ingest/sample"
)

// A Channel is how one channel under the cuff stands.
type Channel struct {
	Index    int
	Standing protocol.Standing // while pressures are read
	Made     *Made             // once they have been
	Kept     string            // the id of its record that came into force
}

// A Progress is how a run stands.
type Progress struct {
	ID       string
	Ask      Ask
	Began    sample.Instant
	Plan     protocol.Plan
	Taken    []protocol.Taken
	Doubts   []string        // why one of them may not be at its pressure, one a level; "" for those that may
	Next     *protocol.Level // nil where there is none
	Holding  *time.Duration  // for how much longer the last pressure is held; nil where none is
	Fitting  bool            // every pressure has been read that will be, and what comes of it is being worked out
	Finished bool
	Channels []Channel
	Unsaved  error // why what was read is not on the disk; nil if it is
}

// Progress returns how the run stands; ErrNone where none goes on.
func (d *Desk) Progress() (*Progress, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.run == nil {
		return nil, ErrNone
	}
	now := d.now()
	p := &Progress{ID: d.id, Ask: d.ask, Began: d.from, Plan: d.run.Plan(), Taken: append([]protocol.Taken{}, d.run.Taken()...), Fitting: d.stage == fitting, Finished: d.stage == finished}
	p.Doubts, p.Unsaved = d.run.Doubts(), d.unsaved
	if left, holding := d.run.Holding(now); holding && d.stage == reading {
		p.Holding = &left
	}
	if next, more := d.run.Next(); more && d.stage == reading {
		p.Next = &next
	}
	for _, c := range d.ask.Channels {
		one := Channel{Index: c, Kept: d.kept[c], Made: d.out[c]}
		if d.stage == reading {
			one.Standing = d.run.Standing(c, now)
		}
		p.Channels = append(p.Channels, one)
	}
	return p, nil
}
