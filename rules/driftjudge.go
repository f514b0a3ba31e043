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

// A driftJudge judges how far a resting level has gone from where it settled.
type driftJudge struct {
	still
	drift   *Drift
	signal  int // the resting level
	worn    time.Duration
	last    sample.Instant // since then it is worn, as far as worn counts; Past where it is not known to be
	recent  *trend.Window  // resting levels of the last minutes
	settled float64        // NaN before it has
	now     float64
	away    bool // it lies too far off, and has not come back
}

// settledSpan is over which the settled level is taken.
const settledSpan = 10 * time.Minute

func newDriftJudge(d *Drift, signal int) *driftJudge {
	return &driftJudge{
		drift: d, signal: signal, last: sample.Past, recent: trend.NewWindow(min(settledSpan, max(d.Settle, time.Second)), 20),
		settled: sample.Unknown, now: sample.Unknown,
	}
}

func (j *driftJudge) look(p *place) {
	worn := p.body.answer()
	if worn == sample.No { // the wrap has come off: the next has a level of its own
		j.recent.Clear()
		j.worn, j.settled, j.now, j.last, j.away = 0, sample.Unknown, sample.Unknown, sample.Past, false
		return
	}
	if j.last != sample.Past {
		j.worn += p.at.Sub(j.last)
	}
	if j.last = sample.Past; worn == sample.Yes {
		j.last = p.at // what is known now lasts; a hole in the readings settles nothing
	}
	j.now = p.signals[j.signal].Value
	if turned := j.recent.Add(p.at, j.now); turned && j.settled != j.settled && j.worn >= j.drift.Settle {
		j.settled = j.recent.Median(3)
	}
	if off := math.Abs(j.now - j.settled); off > j.drift.By+exact {
		j.away = true
	} else if off <= (1-comesBack)*j.drift.By {
		j.away = false
	}
}

// comesBack is by what share of the drift a level must come back for the drift to
// be over, so that breathing does not end and begin it again: our own choice.
const comesBack = 0.2

func (j *driftJudge) condition(p *place) (sample.Truth, bool) {
	switch {
	case p.body.answer() == sample.No:
		return sample.No, false
	case p.body.answer() == sample.Maybe:
		return sample.Maybe, false
	case j.settled != j.settled || j.now != j.now:
		return sample.Maybe, true
	}
	return sample.Of(j.away), false
}

func (j *driftJudge) waits(*place) string {
	if j.settled != j.settled {
		return fmt.Sprintf("wrapped for %s of the %s that it takes to settle", Duration(j.worn), Duration(j.drift.Settle))
	}
	return "not still"
}

// exact is by how much rounding may move a comparison.
const exact = 1e-9

func (j *driftJudge) measured(p *place, e *alert.Event) {
	e.Signal, e.Unit, e.Value, e.U, e.Limit = p.signals[j.signal].Name, "mmHg", j.now, sample.Unknown, sample.Unknown
	if j.settled == j.settled {
		if e.Limit = j.settled - j.drift.By; j.now > j.settled {
			e.Limit = j.settled + j.drift.By
		}
	}
}

func (j *driftJudge) words(p *place, e *alert.Event) said {
	asked := "more than " + plain(j.drift.By) + " mmHg from where it settled"
	is, reading := asked, ""
	if j.now == j.now && j.settled == j.settled {
		way := "below"
		if j.now > j.settled {
			way = "above"
		}
		if j.away {
			is = fmt.Sprintf("more than %s mmHg %s where it settled", plain(j.drift.By), way)
		}
		reading = fmt.Sprintf("%s at rest, %s %s the settled %s", Quantity(j.now, sample.Unknown, "mmHg", e.Limit),
			Quantity(math.Abs(j.now-j.settled), sample.Unknown, "mmHg", j.drift.By), way, Quantity(j.settled, sample.Unknown, "mmHg", math.NaN()))
	}
	return said{subject: spoken(j.drift.Site), is: is, asked: asked, reading: reading}
}

// Code implements state.Coder.
func (j *driftJudge) Code(c *state.Codec) {
	c.Duration(&j.worn)
	c.Instant(&j.last)
	j.recent.Code(c)
	c.Float(&j.settled)
	c.Float(&j.now)
	c.Bool(&j.away)
}
