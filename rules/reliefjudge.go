package rules

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/relief"
	"weald/rules/state"
)

// A reliefJudge judges for how long somebody has been seated with nothing that
// counts.
type reliefJudge struct {
	rule    *Relief
	sides   [2]side
	tracker *relief.Tracker
}

func newReliefJudge(p *place, r *Rule) *reliefJudge {
	x := r.Relief
	spec := relief.Default()
	spec.ShiftDepth, spec.ReliefDepth = x.Depth[0], x.Depth[1]
	spec.Lasting, spec.EmptyFor, spec.Counts = x.Lasting, x.EmptyFor, x.Counts
	spec.ForgetAfter, spec.EmptyBelow = r.ForgetAfter, emptyBelow
	return &reliefJudge{rule: x, sides: p.sides(), tracker: relief.New(spec)}
}

func (j *reliefJudge) look(p *place) {
	j.tracker.Set(p.at, j.sides[0].load(p), j.sides[1].load(p))
}

func (j *reliefJudge) condition(*place) (sample.Truth, bool) {
	if j.tracker.Seated() == sample.Maybe {
		return sample.Maybe, false
	}
	return sample.Of(j.tracker.Since() >= j.rule.Interval), false
}

func (j *reliefJudge) waits(*place) string { return "" }

// turns is the first of: the interval is over; something has lasted.
func (j *reliefJudge) turns() (time.Duration, bool) {
	in, ok := j.tracker.Next()
	if left := j.rule.Interval - j.tracker.Since(); j.tracker.Growing() && left > 0 && (!ok || left < in) {
		return left, true
	}
	return in, ok
}

// becomes is when the interval is over, unless what counts and is under way has lasted
// by then.
func (j *reliefJudge) becomes() (time.Duration, bool) {
	left := j.rule.Interval - j.tracker.Since()
	held, of := j.tracker.Easing()
	return left, j.tracker.Growing() && left > 0 && (of == 0 || left < of-held)
}

func (j *reliefJudge) pass(span time.Duration) { j.tracker.Advance(span) }

func (j *reliefJudge) used() float64 {
	return max(j.tracker.Since().Seconds()/j.rule.Interval.Seconds(), tiny)
}

// tiny is a share of nothing, for what is no delay and has only begun.
const tiny = 1e-12

func (j *reliefJudge) measured(_ *place, e *alert.Event) {
	e.Signal, e.Unit, e.U, e.Limit = "relief.since", "s", sample.Unknown, j.rule.Interval.Seconds()
	if e.Value = j.tracker.Since().Seconds(); j.tracker.Seated() == sample.Maybe {
		e.Value = sample.Unknown
	}
}

func (j *reliefJudge) words(_ *place, e *alert.Event) said {
	asked := "taken for " + Duration(j.rule.Interval) + " without " + anyOf(j.rule.Counts)
	reading := ""
	if e.Value == e.Value {
		t := j.tracker
		reading = fmt.Sprintf("%s since the last that counts; so far %s, %s, %s", Duration(t.Since()),
			counted(t.Count(relief.Shift), "weight shift"), counted(t.Count(relief.Relief), "pressure relief"), counted(t.Count(relief.Transfer), "transfer"))
	}
	return said{subject: string(Seat), is: asked, asked: asked, reading: reading}
}

// anyOf names what counts as people who sit have it: "a shift, relief or transfer".
func anyOf(kinds []relief.Kind) string {
	var said []string
	for _, k := range []relief.Kind{relief.Shift, relief.Relief, relief.Transfer} {
		if slices.Contains(kinds, k) {
			said = append(said, k.String())
		}
	}
	last := len(said) - 1
	if last < 1 {
		return "a " + strings.Join(said, "")
	}
	return "a " + strings.Join(said[:last], ", ") + " or " + said[last]
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// Code implements state.Coder.
func (j *reliefJudge) Code(c *state.Codec) { j.tracker.Code(c) }
