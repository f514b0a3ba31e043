package rules

import (
	"fmt"
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/expr"
	"weald/rules/hold"
	"weald/rules/limb"
	"weald/rules/state"
	"weald/rules/trend"
)

// A gradeJudge judges the graduation between two neighbouring sites.
type gradeJudge struct {
	still
	grade            limb.Grade
	distal, proximal int // signals
	names            [2]string
}

func (j *gradeJudge) look(*place) {}

func (j *gradeJudge) condition(p *place) (sample.Truth, bool) {
	_, is := j.grade.Judge(p.signals[j.distal].Value, p.signals[j.proximal].Value)
	return is, false
}

func (j *gradeJudge) measured(p *place, e *alert.Event) {
	d, v := &p.signals[j.distal], &p.signals[j.proximal]
	e.Signal, e.Unit, e.Value, e.U = v.Name, "mmHg", v.Value, v.U
	e.Limit = math.Inf(1)
	if j.grade.Ratio > 0 {
		e.Limit = j.grade.Ratio * d.Value
	}
	if j.grade.Drop > 0 {
		e.Limit = math.Min(e.Limit, d.Value-j.grade.Drop)
	}
	if fault, _ := j.grade.Judge(d.Value, v.Value); fault == limb.TooSteep || math.IsInf(e.Limit, 1) {
		e.Limit = j.grade.Steepest * d.Value
	}
}

func (j *gradeJudge) words(p *place, e *alert.Event) said {
	d, v := &p.signals[j.distal], &p.signals[j.proximal]
	asked := "not"
	for _, part := range []struct {
		set  bool
		text string
	}{
		{j.grade.Ratio > 0, fmt.Sprintf("at most %s %% of the %s", plain(100*j.grade.Ratio), spoken(j.names[0]))},
		{j.grade.Drop > 0, fmt.Sprintf("at least %s mmHg lower", plain(j.grade.Drop))},
		{j.grade.Steepest > 0, fmt.Sprintf("at least %s %% of it", plain(100*j.grade.Steepest))},
	} {
		switch {
		case part.set && asked == "not":
			asked += " " + part.text
		case part.set:
			asked += ", " + part.text
		}
	}
	is := asked
	if fault, _ := j.grade.Judge(d.Value, v.Value); fault != limb.Fine {
		is = fmt.Sprintf("graduation %s (%s)", fault, asked)
	}
	reading := ""
	if v.Value == v.Value && d.Value == d.Value {
		reading = fmt.Sprintf("%s with %s at the %s", Quantity(v.Value, v.U, "mmHg", e.Limit), Quantity(d.Value, d.U, "mmHg", math.NaN()), spoken(j.names[0]))
		if d.Value >= limb.Judgeable {
			reading += fmt.Sprintf(", %.0f %%", limb.Residual(v.Value, d.Value))
		}
	}
	return said{subject: spoken(j.names[1]), is: is, asked: asked, reading: reading}
}

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
		reading = fmt.Sprintf("%+.1f%s over %s, now %s", j.slope, unitWord(s.Unit)+j.per(), Duration(j.rate.Window), Quantity(s.Value, s.U, s.Unit, math.NaN()))
	}
	return said{subject: spokenSignal(s.Name), is: is, asked: asked, reading: reading}
}

// Code implements state.Coder.
func (j *rateJudge) Code(c *state.Codec) {
	j.window.Code(c)
	c.Float(&j.slope)
}

// A limitJudge judges a signal against a band, as a limit does, and knows why
// there may be nothing to judge.
type limitJudge struct {
	still
	limit  *Limit
	band   hold.Band
	signal int
	why    func(p *place) string
	memory hold.Memory
	is     sample.Truth
}

func (j *limitJudge) look(p *place) {
	j.is, j.memory = j.band.Judge(p.signals[j.signal].Value, j.memory)
}

func (j *limitJudge) condition(p *place) (sample.Truth, bool) {
	return j.is, j.is == sample.Maybe && p.lasting() != sample.Never
}

func (j *limitJudge) waits(p *place) string { return j.why(p) }

func (j *limitJudge) measured(p *place, e *alert.Event) {
	s := &p.signals[j.signal]
	e.Signal, e.Unit, e.Value, e.U, e.Limit = s.Name, s.Unit, s.Value, s.U, j.band.Limit(s.Value)
}

func (j *limitJudge) words(p *place, e *alert.Event) said {
	s := &p.signals[j.signal]
	reading := ""
	if s.Value == s.Value {
		reading = Quantity(s.Value, s.U, s.Unit, e.Limit)
	}
	return said{subject: spokenSignal(s.Name), is: j.limit.words(s.Value, s.Unit), asked: j.limit.Words(s.Unit), reading: reading}
}

// Code implements state.Coder.
func (j *limitJudge) Code(c *state.Codec) {
	m := int(j.memory)
	c.Int(&m, 0, 2)
	j.memory = hold.Memory(m)
	c.Truth(&j.is)
}

// noSwing says why there is no walking amplitude.
func noSwing(p *place) string {
	l := p.limbState()
	walk, walks := l.limb.Walk()
	switch {
	case walks && !walk.Resolved():
		return fmt.Sprintf("not resolvable: %.1f scans/s are fewer than %d for each of %.2f strides/s", walk.Rate, limb.PerStride, walk.Hertz)
	case l.limb.Activity().Walking == sample.Maybe && l.limb.Activity().Still == sample.No:
		return "not resolvable: too few scans a second to tell a stride"
	case l.limb.Activity().Walking == sample.No:
		return "not walking"
	}
	return "not known whether it walks"
}

// limbState is what a place of the kind wrap has.
func (p *place) limbState() *limbState {
	for _, d := range p.derivations {
		if l, ok := d.(*limbState); ok {
			return l
		}
	}
	return nil
}

// A driftJudge judges how far a resting level has gone from where it settled.
type driftJudge struct {
	still
	drift   *Drift
	signal  int // the resting level
	worn    time.Duration
	last    sample.Instant
	recent  *trend.Window // resting levels of the last minutes
	settled float64       // NaN before it has
	now     float64
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
		j.worn, j.settled, j.now, j.last = 0, sample.Unknown, sample.Unknown, p.at
		return
	}
	if j.last != sample.Past && worn == sample.Yes {
		j.worn += p.at.Sub(j.last)
	}
	j.last, j.now = p.at, p.signals[j.signal].Value
	if turned := j.recent.Add(p.at, j.now); turned && j.settled != j.settled && j.worn >= j.drift.Settle {
		j.settled = j.recent.Median(3)
	}
}

func (j *driftJudge) condition(p *place) (sample.Truth, bool) {
	switch {
	case p.body.answer() == sample.No:
		return sample.No, false
	case p.body.answer() == sample.Maybe:
		return sample.Maybe, false
	case j.settled != j.settled || j.now != j.now:
		return sample.Maybe, true
	}
	return sample.Of(math.Abs(j.now-j.settled) > j.drift.By+exact), false
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
		if math.Abs(j.now-j.settled) > j.drift.By {
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
}

// A formulaJudge judges an expression over the place's signals.
type formulaJudge struct {
	still
	program *expr.Program
	subject string
	signals []int // that it speaks of
	is      sample.Truth
}

func (j *formulaJudge) look(p *place) { j.is = j.program.Eval(p.gateValues()) }

func (j *formulaJudge) condition(p *place) (sample.Truth, bool) {
	if j.is != sample.Maybe {
		return j.is, false
	}
	for _, s := range j.signals {
		if s < p.basic && sample.IsUnknown(p.signals[s].Value) {
			return j.is, false
		}
	}
	return j.is, p.lasting() != sample.Never
}

func (j *formulaJudge) waits(p *place) string {
	for _, s := range j.signals {
		if sample.IsUnknown(p.signals[s].Value) {
			return p.signals[s].Name + " is not known"
		}
	}
	return "its answer is not a number"
}

func (j *formulaJudge) measured(p *place, e *alert.Event) {
	e.Signal, e.Unit, e.Value, e.U, e.Limit = "formula", Truths, truthValue(j.is), sample.Unknown, sample.Unknown
}

// mostSaid is how many signals a formula's sentence gives the values of.
const mostSaid = 6

func (j *formulaJudge) words(p *place, _ *alert.Event) said {
	reading := ""
	for n, i := range j.signals {
		if n == mostSaid {
			reading += " and more"
			break
		}
		if n > 0 {
			reading += ", "
		}
		s := &p.signals[i]
		switch {
		case sample.IsUnknown(s.Value):
			reading += s.Name + " unknown"
		case s.Unit == Truths && s.Value != 0:
			reading += s.Name
		case s.Unit == Truths:
			reading += "not " + s.Name
		default:
			reading += s.Name + " " + Quantity(s.Value, s.U, s.Unit, math.NaN())
		}
	}
	return said{subject: spoken(j.subject), is: "as the rule says (" + j.program.String() + ")", asked: j.program.String(), reading: reading}
}

// Code implements state.Coder.
func (j *formulaJudge) Code(c *state.Codec) { c.Truth(&j.is) }

// slotsOf returns the slots of a program's values and truths, each once.
func slotsOf(program *expr.Program) []int {
	all := slices.Concat(program.Values(), program.Truths())
	slices.Sort(all)
	return slices.Compact(all)
}
