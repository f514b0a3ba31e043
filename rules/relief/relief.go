package relief

import (
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules/hold"
	"weald/rules/trend"
)

// A Kind is a way to take the load off.
type Kind uint8

// The kinds, the lesser first.
const (
	None Kind = iota
	Shift
	Relief
	Transfer
)

// String names a kind as the configuration does.
func (k Kind) String() string {
	return [...]string{"none", "shift", "relief", "transfer"}[k]
}

// ParseKind is the inverse of String, without None.
func ParseKind(s string) (Kind, bool) {
	for k := Shift; k <= Transfer; k++ {
		if k.String() == s {
			return k, true
		}
	}
	return None, false
}

// A Spec says what counts.
type Spec struct {
	ShiftDepth  float64       // share of the baseline that is off at least one side: 0.3
	ReliefDepth float64       // share that is off the whole: 0.9
	Lasting     time.Duration // for how long: 15 s
	EmptyFor    time.Duration // how long an empty seat makes a transfer: 60 s

	// The seat is empty at or below EmptyBelow, in the unit of the loads, or at
	// or below EmptyShare of the baseline.
	EmptyBelow, EmptyShare float64

	Baseline    time.Duration // over which the baseline is taken
	ForgetAfter time.Duration
	Counts      []Kind // what begins the seated time anew
}

// Default is what the paper and the package comment say.
func Default() Spec {
	return Spec{
		ShiftDepth: 0.3, ReliefDepth: 0.9, Lasting: 15 * time.Second, EmptyFor: time.Minute, EmptyShare: 0.05,
		Baseline: 2 * time.Minute, ForgetAfter: 10 * time.Minute, Counts: []Kind{Shift, Relief, Transfer},
	}
}

const (
	baselineSlots = 24
	firstSlots    = 6   // of them for the first, unstable baseline
	stableWithin  = 0.2 // how far the slots' means may lie apart, as a share of the median
	exact         = 1e-9
)

// A Tracker follows one seat. Loads are those of its left and right side, in
// any one unit.
type Tracker struct {
	spec    Spec
	windows [2]*trend.Window
	base    [2]float64 // NaN before there is one
	full    float64    // the last baseline of the whole, also after a transfer; it tells an empty seat

	load    [2]float64
	seated  sample.Truth
	shift   doing
	relief  doing
	empty   doing
	episode Kind // the most that the present episode has been
	silent  time.Duration

	since  time.Duration
	counts [Transfer + 1]int
}

// doing is one of the things that have to last.
type doing struct {
	spec hold.Spec
	cond sample.Truth
	hold hold.State
}

// New returns a tracker that has seen nothing.
func New(spec Spec) *Tracker {
	t := &Tracker{spec: spec}
	lasting := hold.Spec{OnDelay: spec.Lasting, ForgetAfter: spec.ForgetAfter}
	t.shift.spec, t.relief.spec = lasting, lasting
	t.empty.spec = hold.Spec{OnDelay: spec.EmptyFor, ForgetAfter: spec.ForgetAfter}
	for i := range t.windows {
		t.windows[i] = trend.NewWindow(spec.Baseline, baselineSlots)
	}
	t.load = [2]float64{math.NaN(), math.NaN()}
	t.forget()
	return t
}

// Since is for how long somebody has been seated with nothing that counts.
func (t *Tracker) Since() time.Duration { return t.since }

// Count returns how many episodes of a kind have ended.
func (t *Tracker) Count(k Kind) int { return t.counts[k] }

// Baseline returns the baseline of both sides, NaN before there is one.
func (t *Tracker) Baseline() [2]float64 { return t.base }

// Seated reports whether somebody is seated.
func (t *Tracker) Seated() sample.Truth { return t.seated }

// Now returns what the present episode has been so far; None outside of one.
func (t *Tracker) Now() Kind { return t.episode }

// Growing reports whether Since grows as long as the loads stay what they are.
func (t *Tracker) Growing() bool {
	return t.seated == sample.Yes && !t.counting()
}

// Easing returns for how long what counts is being held, and for how long it has
// to be: of the kind that is nearest to that. Both are 0 while none is held; a seat
// that is empty after nobody has sat on it relieves nobody.
func (t *Tracker) Easing() (held, of time.Duration) {
	for _, d := range []struct {
		doing *doing
		kind  Kind
	}{{&t.shift, Shift}, {&t.relief, Relief}, {&t.empty, Transfer}} {
		if d.doing.cond != sample.Yes || !slices.Contains(t.spec.Counts, d.kind) || d.kind == Transfer && (t.episode == Transfer || t.since == 0) {
			continue
		}
		h := d.doing.hold.Held
		if d.doing.hold.Raised {
			h = d.doing.spec.OnDelay
		}
		if of == 0 || d.doing.spec.OnDelay-h < of-held {
			held, of = h, d.doing.spec.OnDelay
		}
	}
	return held, of
}

// counting reports whether the present episode has done what counts.
func (t *Tracker) counting() bool {
	return t.shift.hold.Raised && slices.Contains(t.spec.Counts, Shift) ||
		t.relief.hold.Raised && slices.Contains(t.spec.Counts, Relief)
}

// Set takes a reading of both sides, NaN where unknown, which lasts from at on.
func (t *Tracker) Set(at sample.Instant, left, right float64) {
	t.load = [2]float64{left, right}
	t.judge()
	t.doings(0)
	if t.seated == sample.Yes {
		turned := t.windows[0].Add(at, left)
		if t.windows[1].Add(at, right); turned {
			t.rebase()
		}
	}
}

// judge finds the conditions of the present loads.
func (t *Tracker) judge() {
	total, base := t.load[0]+t.load[1], t.base[0]+t.base[1]
	empty := sample.Maybe
	if total == total {
		least := t.spec.EmptyBelow
		empty = sample.Of(total <= max(least, t.spec.EmptyShare*t.full))
	}
	t.empty.cond, t.seated = empty, empty.Not()
	t.shift.cond = off(t.load[0], t.base[0], t.spec.ShiftDepth).Or(off(t.load[1], t.base[1], t.spec.ShiftDepth))
	t.relief.cond = off(total, base, t.spec.ReliefDepth)
}

// off reports whether v lies below base by depth or more.
func off(v, base, depth float64) sample.Truth {
	if v != v || base != base {
		return sample.Maybe
	}
	return sample.Of(base > 0 && (base-v)/base >= depth-exact)
}

// Advance lets span pass with the loads of the last Set.
func (t *Tracker) Advance(span time.Duration) {
	for span > 0 {
		step := span
		if in, ok := t.Next(); ok {
			step = min(step, in)
		}
		if t.Growing() {
			t.since += step
		}
		if t.seated == sample.Maybe {
			t.silent += min(step, math.MaxInt64-t.silent)
		} else {
			t.silent = 0
		}
		t.doings(step)
		if t.seated == sample.Maybe && t.silent >= t.spec.ForgetAfter {
			t.forget()
			t.since = 0
		}
		span -= step
	}
}

// doings lets span pass for what has to last, none of which turns before it
// ends, and ends the episode when nothing of it is left. A transfer is counted
// when it has become one.
func (t *Tracker) doings(span time.Duration) {
	for _, d := range []struct {
		doing *doing
		kind  Kind
	}{{&t.shift, Shift}, {&t.relief, Relief}, {&t.empty, Transfer}} {
		change, _ := d.doing.hold.Advance(&d.doing.spec, span, d.doing.cond)
		if change == hold.Cleared && d.kind == Relief && t.episode == Relief {
			t.counts[Relief]++
			t.episode = None
		}
		if change != hold.Raised {
			continue
		}
		t.episode = max(t.episode, d.kind)
		if slices.Contains(t.spec.Counts, d.kind) {
			t.since = 0
		}
		if d.kind == Transfer {
			t.counts[Transfer]++
			t.windows[0].Clear()
			t.windows[1].Clear()
			t.base = [2]float64{math.NaN(), math.NaN()}
			t.shift.hold, t.relief.hold = hold.State{}, hold.State{}
			t.judge()
		}
	}
	switch {
	case t.episode == Shift && t.shift.cond == sample.No:
		t.counts[Shift]++
		t.episode = None
	case t.episode == Transfer && t.empty.cond == sample.No:
		t.episode = None
	}
}

// Next returns in how much time something will have lasted for long enough;
// false if nothing is on its way.
func (t *Tracker) Next() (time.Duration, bool) {
	least, any := time.Duration(math.MaxInt64), false
	for _, d := range []*doing{&t.shift, &t.relief, &t.empty} {
		if in, ok := d.hold.Next(&d.spec, d.cond); ok && !d.hold.Raised && in > 0 {
			least, any = min(least, in), true
		}
	}
	return least, any
}

// rebase takes a stable stretch as the baseline.
func (t *Tracker) rebase() {
	var level [2]float64
	stable, known := true, baselineSlots
	for i, w := range t.windows {
		n, _ := w.Known()
		known = min(known, n)
		level[i] = w.Median(1)
		stable = stable && w.Within(stableWithin*level[i])
	}
	none := t.base[0] != t.base[0]
	full := known >= baselineSlots*3/4
	kept := off(level[0]+level[1], t.base[0]+t.base[1], t.spec.ReliefDepth) != sample.Yes
	if !(none && known >= firstSlots || full && stable && kept) {
		return
	}
	t.base, t.full = level, level[0]+level[1]
	t.judge()
	t.doings(0)
}

// forget forgets what was on its way, and the baseline.
func (t *Tracker) forget() {
	t.shift.hold, t.relief.hold, t.empty.hold = hold.State{}, hold.State{}, hold.State{}
	t.windows[0].Clear()
	t.windows[1].Clear()
	t.base, t.full = [2]float64{math.NaN(), math.NaN()}, 0
	t.episode = None
	t.judge()
}
