package rules

import (
	"math"
	"slices"
	"strings"
	"time"

	"weald/rules/exposure"
)

// settings checks the numbers of a rule's kind.
func (c *checker) settings(at func(...any) []any, r *Rule) {
	switch {
	case r.Limit != nil:
		c.limit(at, "limit", r.Limit)
	case r.Swing != nil:
		c.limit(at, "swing", &r.Swing.Limit)
	case r.Graduation != nil:
		c.graduation(at, r.Graduation)
	case r.Exposure != nil:
		c.exposure(at, r.Exposure)
	case r.Relief != nil:
		c.relief(at, r.Relief)
	case r.Turn != nil:
		c.turn(at, r.Turn)
	case r.Rate != nil:
		c.rate(at, r.Rate)
	case r.Quality != nil:
		if len(r.Quality.Of) == 0 {
			c.bad(at("quality", "of"), "of is empty, so that nothing would ever be wrong: give some of %s", FaultNames())
		}
		c.quality(at, r.Quality)
	case r.Drift != nil:
		if !positive(r.Drift.By) {
			c.bad(at("drift", "by"), "by is how far it may drift in mmHg: give a number above 0")
		}
		if r.Drift.Settle < 0 {
			c.bad(at("drift", "settle"), "a duration cannot be negative: use 0s for none")
		}
	}
}

func positive(v float64) bool { return v > 0 && !math.IsInf(v, 0) }

// share reports a number that is no share; 0 asks nothing.
func (c *checker) share(at func(...any) []any, v, most float64, path ...any) {
	if !(v >= 0 && v <= most) {
		c.bad(at(path...), "%v is %g: give a share from 0 to %g, such as 0.8 for 80 %%", path[len(path)-1], v, most)
	}
}

func (c *checker) quality(at func(...any) []any, q *Quality) {
	if (slices.Contains(q.Of, Stuck) || slices.Contains(q.Of, Open)) && q.Unchanged < time.Second {
		c.bad(at("quality", "unchanged"), "unchanged is for how long a channel must not change to be stuck: give at least 1 s")
	}
	if !(q.Share >= 0 && q.Share <= 1) {
		c.bad(at("quality", "share"), "share is how many of a mat's cells must have a fault: give a number from 0, for any one, to 1")
	}
	if slices.Contains(q.Of, Lossy) && !(q.Loss > 0 && q.Loss < 1) {
		c.bad(at("quality", "loss"), "loss is the share of frames above which too many are lost: give a number between 0 and 1")
	}
	if slices.Contains(q.Of, Clock) && q.Clock <= 0 {
		c.bad(at("quality", "clock"), "clock is by how much a clock may be off: give a duration above 0")
	}
	if slices.Contains(q.Of, Battery) && !(q.Battery > 0 && q.Battery < 100) {
		c.bad(at("quality", "battery"), "battery is the level in percent at or below which it is low: give a number between 0 and 100")
	}
}

func (c *checker) graduation(at func(...any) []any, g *Graduation) {
	c.share(at, g.Ratio, 2, "graduation", "ratio")
	c.share(at, g.Steepest, 1, "graduation", "steepest")
	switch {
	case g.Drop < 0 || math.IsNaN(g.Drop) || math.IsInf(g.Drop, 0):
		c.bad(at("graduation", "drop"), "drop is by how many mmHg the pressure falls: give 0 or more")
	case g.Ratio == 0 && g.Drop == 0 && g.Steepest == 0:
		c.bad(at("graduation"), "a graduation needs something to ask: give ratio, drop or steepest")
	case g.Ratio > 0 && g.Steepest >= g.Ratio:
		c.bad(at("graduation", "steepest"), "steepest is %g and ratio %g: nothing lies between them; give a smaller steepest", g.Steepest, g.Ratio)
	}
	if g.Sites != [2]string{} && g.Sites[0] == g.Sites[1] {
		c.bad(at("graduation", "sites"), "sites has %q twice: give the distal site and then the proximal one", g.Sites[0])
	}
}

func (c *checker) exposure(at func(...any) []any, x *Exposure) {
	switch {
	case x.Model != "" && len(x.Table) > 0:
		c.bad(at("exposure", "table"), "an exposure has a model or a table, not both: leave one out")
	case x.Model == "" && len(x.Table) == 0:
		c.bad(at("exposure"), "an exposure needs what it reckons with: give model (%s) or a table of your own", strings.Join(exposure.Names(), " or "))
	case x.Model != "" && !slices.Contains(exposure.Names(), x.Model):
		c.bad(at("exposure", "model"), "no model is called %q: there is %s", x.Model, some(exposure.Names()))
	case x.Model == "":
		if _, err := exposure.Table(x.Table); err != nil {
			c.bad(at("exposure", "table"), "%v", err)
		}
	}
	if !positive(x.Share) {
		c.bad(at("exposure", "share"), "share is %g: give a share of the tolerance above 0, such as 0.8 for 80 %%", x.Share)
	}
	if x.Floor < 0 || math.IsNaN(x.Floor) || math.IsInf(x.Floor, 0) {
		c.bad(at("exposure", "floor"), "floor is the pressure in mmHg up to which nothing is used: give 0 or more")
	}
	if x.Recovery < 0 {
		c.bad(at("exposure", "recovery"), "a duration cannot be negative: use 0s for at once")
	}
}

func (c *checker) relief(at func(...any) []any, x *Relief) {
	if x.Interval <= 0 {
		c.bad(at("relief", "interval"), "interval is how long somebody may sit: give a duration above 0")
	}
	if d := x.Depth; !(d[0] > 0 && d[0] <= d[1] && d[1] <= 1) {
		c.bad(at("relief", "depth"), "depth is [%g, %g]: give the share that is off one side for a shift and off the whole for a relief, such as [0.3, 0.9]", d[0], d[1])
	}
	if x.Lasting <= 0 {
		c.bad(at("relief", "lasting"), "lasting is how long a relief takes: give a duration above 0")
	}
	if x.EmptyFor < x.Lasting {
		c.bad(at("relief", "empty_for"), "empty_for is shorter than lasting: an empty seat would be a transfer before it is a relief")
	}
	if len(x.Counts) == 0 {
		c.bad(at("relief", "counts"), "counts is empty, so that nothing would ever count: give shift, relief or transfer")
	}
}

func (c *checker) turn(at func(...any) []any, x *Turn) {
	if x.Interval <= 0 {
		c.bad(at("turn", "interval"), "interval is how long somebody may lie without a turn: give a duration above 0, such as 2h")
	}
	switch {
	case x.Settle <= 0:
		c.bad(at("turn", "settle"), "settle is how long a new position must last: give a duration above 0, such as 30s")
	case x.Interval > 0 && x.Settle >= x.Interval:
		c.bad(at("turn", "settle"), "settle is %s and interval %s: a turn would count too late; give a shorter settle", Duration(x.Settle), Duration(x.Interval))
	}
}

func (c *checker) rate(at func(...any) []any, x *Rate) {
	for _, v := range []struct {
		key string
		v   float64
	}{{"rise", x.Rise}, {"fall", x.Fall}} {
		if v.v < 0 || math.IsNaN(v.v) || math.IsInf(v.v, 0) {
			c.bad(at("rate", v.key), "%s is %g: give a number above 0", v.key, v.v)
		}
	}
	if x.Rise == 0 && x.Fall == 0 {
		c.bad(at("rate"), "a rate needs rise, fall or both")
	}
	if x.Per <= 0 {
		c.bad(at("rate", "per"), "per is what a rise and a fall are for: give a duration above 0, such as 1m")
	}
	if x.Window <= 0 {
		c.bad(at("rate", "window"), "window is what the slope is taken over: give a duration above 0")
	}
}
