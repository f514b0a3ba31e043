package keeper

import (
	"weald/rules"
	"weald/stream/pipeline"
	"weald/stream/record"
)

// Mark implements pipeline.Recorder. The mark is kept with every input before it, so
// that it is of the same rest again.
func (k *Keeper) Mark(ord uint64, place int, m pipeline.Mark) (uint64, error) {
	id := k.plan.Places[place].ID
	p, err := k.decided("a mark at "+id, record.Entry{
		Ord: ord, At: m.At, Place: id, Author: m.Author, Body: record.Mark{What: m.Word, Text: m.Text},
	})
	return uint64(p), err
}

// MarkOf returns the word of a mark that the rules go by, if an entry is one: those
// that are kept as inputs.
func MarkOf(e *record.Entry, p *rules.Place) (string, bool) {
	b, ok := e.Body.(record.Mark)
	return b.What, ok && e.Ord > 0 && e.Place == p.ID && p.GoesBy(b.What)
}
