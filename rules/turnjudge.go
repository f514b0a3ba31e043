package rules

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/posture"
	"weald/rules/state"
	"weald/rules/turning"
)

// A turnJudge judges for how long somebody has lain without a turn.
type turnJudge struct {
	rule    *Turn
	tracker *turning.Tracker
}

func newTurnJudge(p *place, r *Rule) *turnJudge {
	settings := turning.Settings{Settle: r.Turn.Settle, ForgetAfter: r.ForgetAfter}
	return &turnJudge{rule: r.Turn, tracker: turning.New(p.mat.spec.Lies(), settings)}
}

func (j *turnJudge) look(p *place) { p.lies(j.tracker) }

func (j *turnJudge) condition(*place) (sample.Truth, bool) {
	switch j.tracker.Known() {
	case sample.Maybe:
		return sample.Maybe, false
	case sample.No:
		return sample.No, false
	}
	return sample.Of(j.tracker.Held() >= j.rule.Interval), false
}

func (j *turnJudge) waits(*place) string { return "" }

func (j *turnJudge) turns() (time.Duration, bool) {
	left := j.rule.Interval - j.tracker.Held()
	return left, j.tracker.Known() == sample.Yes && left > 0
}

func (j *turnJudge) becomes() (time.Duration, bool) { return j.turns() }

func (j *turnJudge) pass(span time.Duration) { j.tracker.Advance(span) }

func (j *turnJudge) used() float64 {
	return max(j.tracker.Held().Seconds()/j.rule.Interval.Seconds(), tiny)
}

func (j *turnJudge) measured(_ *place, e *alert.Event) {
	e.Signal, e.Unit, e.U, e.Limit = "turn.since", "s", sample.Unknown, j.rule.Interval.Seconds()
	if e.Value = j.tracker.Held().Seconds(); j.tracker.Known() != sample.Yes {
		e.Value = sample.Unknown
	}
}

func (j *turnJudge) words(*place, *alert.Event) said {
	asked := "taken for " + Duration(j.rule.Interval) + " without a turn"
	s := said{subject: string(Bed), is: asked, asked: asked}
	switch held := j.tracker.Held(); j.tracker.Known() {
	case sample.No:
		s.reading = "nobody is there"
	case sample.Yes:
		s.reading = lyingWords(j.tracker.Position()) + " for " + Duration(held)
		s.now = lyingWords(j.tracker.Position()) + " for " + inMinutes(held) + ", turn due"
		if left := j.rule.Interval - held; left > 0 {
			s.now += " in " + inMinutes(left)
		}
	}
	return s
}

// inMinutes is a duration as people plan by it: seconds only in its last minutes.
func inMinutes(d time.Duration) string {
	if d >= 2*time.Minute {
		d = d.Round(time.Minute)
	}
	return Duration(d)
}

// lyingWords says how somebody lies.
func lyingWords(p posture.Position) string {
	switch p {
	case posture.Supine:
		return "on the back"
	case posture.Left:
		return "on the left side"
	case posture.Right:
		return "on the right side"
	}
	return "in bed, position not sure,"
}

// Code implements state.Coder.
func (j *turnJudge) Code(c *state.Codec) { j.tracker.Code(c) }
