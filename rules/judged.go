package rules

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/hold"
	"weald/rules/state"
)

// A judge finds the condition of one kind of rule for one subject. The watch
// that has it does the rest: gate, hold, events, progress.
type judge interface {
	// look takes what the place has just heard at p.at.
	look(p *place)
	// condition is what is so now, and whether it is unknown for want of
	// something other than readings; waits says of what.
	condition(p *place) (is sample.Truth, waiting bool)
	waits(p *place) string
	// turns says in how much time the condition changes if nothing is heard;
	// false if it does not.
	turns() (time.Duration, bool)
	// becomes says in how much time the condition becomes true if nothing is heard;
	// false if it does not, or is so already.
	becomes() (time.Duration, bool)
	// pass lets time pass, no farther than turns says.
	pass(span time.Duration)
	// measured fills what was measured: Signal, Unit, Value, U and Limit.
	measured(p *place, e *alert.Event)
	// words says it: see said.
	words(p *place, e *alert.Event) said
	// used is the share of what is allowed that has been used, 0 where the hold
	// alone says so.
	used() float64

	state.Coder
}

// A said is the parts of a sentence that a kind of rule has words for.
type said struct {
	subject string // who: "ankle"
	is      string // what is so: "above 60 mmHg"
	asked   string // what is asked: the same, or "outside 20 to 30 mmHg"
	reading string // what was measured
	where   string // where it was
	note    string // what has to be said beside it
	now     string // how things are on the way there, "" where used and held say it
}

// still is a judge's part that has nothing to do with time.
type still struct{}

func (still) turns() (time.Duration, bool)   { return 0, false }
func (still) becomes() (time.Duration, bool) { return 0, false }
func (still) pass(time.Duration)             {}
func (still) used() float64                  { return 0 }
func (still) waits(*place) string            { return "" }
func (still) Code(*state.Codec)              {}

// A judged is a watch on one subject.
type judged struct {
	standing
	judge   judge
	waiting bool // the condition is unknown, but not for want of readings
}

func (w *judged) advance(p *place, from sample.Instant, span time.Duration) {
	if !w.gate.open {
		return
	}
	for {
		step := span
		if in, ok := w.judge.turns(); ok {
			step = min(step, in)
		}
		w.judge.pass(step)
		w.count(p, from, step)
		from, span = from.Add(step), span-step
		w.cond, w.waiting = w.judge.condition(p)
		if span == 0 {
			w.count(p, from, 0)
			return
		}
	}
}

// count lets the hold count span, and tells what comes of it.
func (w *judged) count(p *place, from sample.Instant, span time.Duration) {
	if what, at, held := w.standing.count(from, span); what != "" {
		w.tell(p, what, at, held)
	}
}

func (w *judged) set(p *place) {
	w.gate.set(p)
	w.judge.look(p)
	w.cond, w.waiting = w.judge.condition(p)
	if w.gate.open {
		w.count(p, p.at, 0)
	}
	if what := w.lost(w.blind()); what != "" {
		w.tell(p, what, p.at, p.at.Sub(w.since))
	}
}

// blind reports whether a raised alert has lost what it is judged by.
func (w *judged) blind() bool {
	return w.hold.Raised && w.cond == sample.Maybe && !w.waiting
}

func (w *judged) next() (time.Duration, bool, bool, []int) {
	in, ok, raised, feeds := w.standing.next()
	if turn, turns := w.judge.turns(); w.gate.open && turns && (!ok || turn < in) {
		in, ok = turn, true
	}
	if j, is := w.judge.(*formulaJudge); is && j.unheard {
		raised = true
	}
	return in, ok, raised, feeds
}

func (w *judged) tell(p *place, what alert.Change, at sample.Instant, held time.Duration) {
	e := alert.Event{At: at, Key: w.key, What: what, Priority: w.rule.Priority, Held: held}
	w.judge.measured(p, &e)
	s := w.judge.words(p, &e)
	e.Text = s.sentence(&e)
	p.events = append(p.events, e)
}

func (w *judged) progress(p *place, dst []Progress) []Progress {
	var e alert.Event
	w.judge.measured(p, &e)
	due := w.due(p)
	h := newProgress(w.key, w.rule, e.Signal, e.Unit, w.cond, w.hold, due, w.since)
	s := w.judge.words(p, &e)
	if w.waiting {
		h.Waits = w.judge.waits(p)
	}
	h.Asks, h.Says, h.Note, h.Share, h.Unknown = s.asked, s.now, s.note, w.judge.used(), w.blind()
	return append(dst, h)
}

// due is when it will be raised if nothing is heard; Never if it will not be.
func (w *judged) due(p *place) sample.Instant {
	if w.hold.Raised || !w.gate.open {
		return sample.Never
	}
	turn, turns := w.judge.turns()
	in, ok := w.hold.Next(&w.spec, w.cond)
	if ok && !(turns && turn < in) {
		return p.at.Add(in)
	}
	if is, becomes := w.judge.becomes(); becomes && w.cond == sample.No && w.spec.ResetsAfter <= is {
		return p.at.Add(is).Add(w.spec.OnDelay)
	}
	return sample.Never
}

func (w *judged) called() string { return w.rule.ID + "~" + w.key.Subject }

func (w *judged) snapshot(out *writer) {
	out.b = w.hold.Append(out.b)
	out.b = append(out.b, byte(w.cond+1))
	out.instant(w.since)
	out.flag(w.unknown)
	out.flag(w.waiting)
	out.flag(w.gate.open)
	out.b = state.Append(out.b, w.judge)
}

func (w *judged) restore(r *reader) {
	r.use(func(b []byte) (rest []byte, err error) {
		w.hold, rest, err = hold.ReadState(b)
		return rest, err
	})
	if b := r.bytes(1); b != nil {
		w.cond = sample.Truth(b[0]) - 1
		r.bad = r.bad || b[0] > 2
	}
	w.since, w.unknown, w.waiting, w.gate.open = r.instant(), r.flag(), r.flag(), r.flag()
	r.use(func(b []byte) ([]byte, error) { return state.Read(b, w.judge) })
}
