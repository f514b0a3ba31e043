package report

import (
	"fmt"
	"math"
	"time"

	"weald/ingest/sample"
	"weald/stream/report/paper"
	"weald/stream/report/tally"
)

// bed is how somebody lay.
type bed struct {
	x             *stretch
	occupied      *condition
	positions     []*condition
	notSure       condition // in bed, and in which position is not known
	since, turned int
	longest       tally.Mean // of the seconds in one position
	count         tally.Counter
	turns         []turn
}

// A turn is when somebody came to lie in another way, and how they lay before.
type turn struct {
	at     sample.Instant
	before time.Duration // 0 where that is not known
}

func (x *stretch) bed() (part, bool) {
	b := &bed{
		x: x, occupied: x.condition("in bed", "occupied"), since: x.follower.Follow("turn.since"), turned: x.follower.Follow("turn.count"),
		notSure: condition{name: "not sure"},
	}
	if b.turned < 0 {
		return b, true // the mat is too coarse to tell how somebody lies
	}
	for _, p := range []struct{ name, signal string }{{"on the back", "supine"}, {"on the left", "on_left"}, {"on the right", "on_right"}} {
		b.positions = append(b.positions, x.condition(p.name, p.signal))
	}
	x.readers = append(x.readers, b.take)
	return b, true
}

func (b *bed) take(p *tally.Piece) {
	since := p.Values[b.since]
	there, sure := tally.StateOf(p.Values[b.occupied.index]), p.Values[b.positions[0].index].Known()
	state := there
	if sure {
		state = tally.No
	}
	b.notSure.runs.Add(state, p.From, p.To)
	if n := b.count.Add(p.Values[b.turned]); n > 0 {
		t := turn{at: p.From}
		if since.Known() { // it counts from when the new way to lie began
			t.at = p.From.Add(-time.Duration(since.V * float64(time.Second)))
		}
		if n := len(b.turns); n > 0 {
			t.before = t.at.Sub(b.turns[n-1].at)
		}
		b.turns = append(b.turns, t)
	}
	b.longest.Add(since, p.Span())
}

func (b *bed) lead() []string {
	switch {
	case b.occupied.runs.In(tally.Yes)+b.occupied.runs.In(tally.No) == 0:
		return []string{"Whether somebody was in bed is not known."}
	case b.longest.Known == 0:
		return []string{fmt.Sprintf("In bed for %s. How they lay is not known.", held(b.occupied.runs))}
	}
	return []string{fmt.Sprintf("In bed for %s: %s. At most %s with none.", held(b.occupied.runs), number(len(b.turns), "turns"), b.most())}
}

// most is the longest time in which nobody turned.
func (b *bed) most() string {
	if b.longest.Known == 0 {
		return paper.NotKnown
	}
	return paper.Lasting(time.Duration(math.Floor(b.longest.High())) * time.Second)
}

func (b *bed) section() paper.Section {
	in := b.occupied.runs.In(tally.Yes)
	out := paper.Section{Title: "Lying", Facts: []paper.Fact{
		b.occupied.fact(), {Name: "bed empty", Value: held(inverse(b.occupied.runs))}, {Name: "not known", Value: paper.Lasting(b.occupied.runs.In(tally.Unknown))},
	}}
	strips := []paper.Strip{b.x.strip("in bed", b.occupied.runs)}
	if b.turned < 0 {
		out.Notes = []string{"The mat does not show how somebody lies: positions and turns are not known."}
	} else {
		for _, p := range b.positions {
			strips = append(strips, b.x.strip(p.name, known(p.runs)))
			value := paper.NotKnown
			if b.longest.Known > 0 {
				value = fmt.Sprintf("%s, %s", paper.Lasting(p.runs.In(tally.Yes)), paper.Share(p.runs.In(tally.Yes), in))
			}
			out.Facts = append(out.Facts, paper.Fact{Name: p.name, Value: value})
		}
		strips = append(strips, b.x.strip("not sure", known(b.notSure.runs)))
		turns := paper.NotKnown
		if b.longest.Known > 0 {
			turns = fmt.Sprint(len(b.turns))
		}
		out.Facts = append(out.Facts, paper.Fact{Name: "position not sure", Value: held(b.notSure.runs)},
			paper.Fact{Name: "turns", Value: turns}, paper.Fact{Name: "longest without one", Value: b.most()})
		out.Notes = []string{"Shares are of the time in bed. A turn is a change of how somebody lies that lasts; fidgets are none. The first stretch is counted from the beginning of this report, and was longer if somebody lay like that before; time in which nothing is known does not count in the longest, and is in the times between turns. Positions are recognised from the map alone; where that is not sure, none is said."}
	}
	if in > 0 {
		out.Drawings = []paper.Figure{{SVG: paper.Strips("How somebody lay", b.x.axis(), strips), Caption: "Filled: when it was so. Hatched: whether somebody was there is not known."}}
	}
	if len(b.turns) > 0 {
		out.Table = &paper.Table{Name: "turns", Heads: []string{"turned at", "after"}}
		for _, t := range b.turns[:min(len(b.turns), mostRows)] {
			after := "–"
			if t.before > 0 {
				after = paper.Lasting(t.before)
			}
			out.Table.Add(b.x.times().Short(t.at), after)
		}
	}
	return out
}

// known leaves out of a strip what another one has: that nothing is known.
func known(r tally.Runs) (out tally.Runs) {
	for _, run := range r {
		if run.State == tally.Yes {
			out = append(out, run)
		}
	}
	return out
}
