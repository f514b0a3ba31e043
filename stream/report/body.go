package report

import (
	"weald/rules"
	"weald/stream/report/paper"
	"weald/stream/report/tally"
)

// A part of a report is about what somebody did, from the signals that the place has
// of it.
type part interface {
	lead() []string
	section() paper.Section
}

// body is the part for the kind of place; false where it cannot tell.
func (x *stretch) body() (part, bool) {
	switch {
	case x.place.Kind == rules.Seat:
		return x.seat()
	case x.place.Kind == rules.Bed:
		return x.bed()
	}
	return x.limb()
}

// A condition is a signal that is yes or no.
type condition struct {
	name  string
	index int
	runs  tally.Runs
}

// condition follows one; where the place has none of that name it is never known.
func (x *stretch) condition(name, signal string) *condition {
	c := &condition{name: name, index: x.follower.Follow(signal)}
	x.readers = append(x.readers, func(p *tally.Piece) {
		state := tally.Unknown
		if c.index >= 0 {
			state = tally.StateOf(p.Values[c.index])
		}
		c.runs.Add(state, p.From, p.To)
	})
	return c
}

// fact is how long a condition held, and for how long that is not known.
func (c *condition) fact() paper.Fact { return paper.Fact{Name: c.name, Value: held(c.runs)} }

// held says for how long; of a condition of which nothing is known that is not known
// either.
func held(r tally.Runs) string {
	yes, no := r.In(tally.Yes), r.In(tally.No)
	if yes+no == 0 {
		return paper.NotKnown
	}
	return paper.Lasting(yes)
}
