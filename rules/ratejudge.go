package rules

import (
	"fmt"
	"math"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/state"
	"weald/rules/trend"
)

// A rateJudge judges how fast a signal goes.
type rateJudge struct {
	still
	rate   *Rate
	signal int
	window *trend.Window
	slope  float64 // in the signal's unit per rate.Per
}

func newRateJudge(r *Rate, signal int) *rateJudge {
	return &rateJudge{rate: r, signal: signal, window: trend.NewWindow(r.Window, 20), slope: sample.Unknown}
}

func (j *rateJudge) look(p *place) {
	s := &p.signals[j.signal]
	v := s.Value
	if s.At != p.at {
		v = sample.Unknown // it is no new reading
	}
	if j.window.Add(p.at, v) {
		j.slope = j.window.Slope() * j.rate.Per.Seconds()
	}
}

func (j *rateJudge) condition(p *place) (sample.Truth, bool) {
	switch {
	case sample.IsUnknown(p.signals[j.signal].Value):
		return sample.Maybe, false
	case sample.IsUnknown(j.slope):
		return sample.Maybe, true
	}
	return sample.Of(j.rate.Rise > 0 && j.slope > j.rate.Rise || j.rate.Fall > 0 && -j.slope > j.rate.Fall), false
}

func (j *rateJudge) waits(*place) string {
	return "less than half of the window of " + Duration(j.rate.Window) + " has been seen"
}

func (j *rateJudge) per() string {
	switch d := j.rate.Per; d {
	case time.Second:
		return "/s"
	case time.Minute:
		return "/min"
	case time.Hour:
		return "/h"
	default:
		return " in " + Duration(d)
	}
}

func (j *rateJudge) measured(p *place, e *alert.Event) {
	s := &p.signals[j.signal]
	e.Signal, e.Unit, e.Value, e.U = s.Name, s.Unit+j.per(), j.slope, sample.Unknown
	e.Limit = j.rate.Rise
	if j.slope < 0 && j.rate.Fall > 0 || j.rate.Rise == 0 {
		e.Limit = -j.rate.Fall
	}
}

func (j *rateJudge) words(p *place, e *alert.Event) said {
	s := &p.signals[j.signal]
	up := "rising faster than " + plain(j.rate.Rise) + unitWord(s.Unit) + j.per()
	down := "falling faster than " + plain(j.rate.Fall) + unitWord(s.Unit) + j.per()
	asked := up
	switch {
	case j.rate.Rise == 0:
		asked = down
	case j.rate.Fall > 0:
		asked = up + " or " + down
	}
	is := asked
	if j.rate.Rise > 0 && j.slope > j.rate.Rise {
		is = up
	} else if j.rate.Fall > 0 && -j.slope > j.rate.Fall {
		is = down
	}
	reading := ""
	if j.slope == j.slope {
		reading = fmt.Sprintf("%+.3g%s over %s, now %s", j.slope, unitWord(s.Unit)+j.per(), Duration(j.rate.Window), Quantity(s.Value, s.U, s.Unit, math.NaN()))
	}
	return said{subject: spokenSignal(s.Name), is: is, asked: asked, reading: reading}
}

// Code implements state.Coder.
func (j *rateJudge) Code(c *state.Codec) {
	j.window.Code(c)
	c.Float(&j.slope)
}
