package rules

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/posture"
	"weald/rules/state"
	"weald/rules/turning"
)

type quantity = struct{ name, unit string }

// bedQuantities are what a bed tells of who lies there: three conditions, all
// unknown while the position is not sure, and two of turns.
var bedQuantities = [...]quantity{
	{"supine", Truths}, {"on_left", Truths}, {"on_right", Truths}, {"turn.since", "s"}, {"turn.count", "1"},
}

// Lies is the mat as the recognition of positions sees it.
func (m *Mat) Lies() posture.Mat {
	return posture.Mat{Rows: m.Rows, Columns: m.Columns, PitchMM: m.PitchMM, Head: m.Head, FromBelow: m.FromBelow}
}

// shows reports whether positions can be told on a place: whether it is a bed
// whose mat shows a body.
func (p *Place) shows() bool {
	if p.Kind != Bed || p.Mat == nil {
		return false
	}
	m := p.Mat.Lies()
	return m.Shows()
}

// A bedState makes the signals of somebody who lies. Rules have trackers of
// their own, with their own settings.
type bedState struct {
	tracker *turning.Tracker
	signal  int
}

func newBed(p *place) *bedState {
	return &bedState{
		tracker: turning.New(p.mat.spec.Lies(), turning.Settings{Settle: turning.DefaultSettle, ForgetAfter: DefaultForgetAfter}),
		signal:  p.signalNamed(bedQuantities[0].name),
	}
}

// lies tells a tracker what the place has just heard.
func (p *place) lies(t *turning.Tracker) {
	switch p.body.answer() {
	case sample.Maybe:
		t.Silence()
	case sample.No:
		t.Away(true)
	default:
		if p.body.there == sample.Yes {
			t.Scan(p.mat.values)
		} else {
			t.Away(false)
		}
	}
}

func (b *bedState) pass(span time.Duration) { b.tracker.Advance(span) }

func (b *bedState) look(p *place, _ bool) {
	p.lies(b.tracker)
	b.show(p, p.at)
}

func (b *bedState) show(p *place, at sample.Instant) {
	until := p.feeds[p.mat.feed].until
	where := b.tracker.Position()
	for k, is := range [...]posture.Position{posture.Supine, posture.Left, posture.Right} {
		v := sample.Unknown
		if where != posture.NotSure {
			v = truthValue(sample.Of(where == is))
		}
		p.put(b.signal+k, v, at, until)
	}
	since, count := sample.Unknown, sample.Unknown
	if b.tracker.Known() == sample.Yes {
		since, count = b.tracker.Held().Seconds(), float64(b.tracker.Turns())
	}
	p.put(b.signal+3, since, at, until)
	p.put(b.signal+4, count, at, until)
}

func (b *bedState) first() int { return b.signal }

// Code implements state.Coder.
func (b *bedState) Code(c *state.Codec) { b.tracker.Code(c) }
