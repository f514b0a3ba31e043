package protocol

import (
	"errors"
	"fmt"
	"math"
	"time"

	"weald/ingest/sample"
)

// A Taken is a level as it was read.
type Taken struct {
	Level
	At      sample.Instant
	Raw     []float64 // one a channel, in counts: means over the last half of the dwell; NaN where it did not settle or was not heard
	SD      []float64 // of single readings
	Drift   []float64 // what did not settle moved by so much meanwhile; 0 of others
	Unknown int       // channels under the cuff of which Raw is NaN
}

// A Run is one calibration as it goes on. Its methods must not be called at once.
type Run struct {
	plan    Plan
	windows []window
	taken   []Taken
	doubts  []string // one a level that was taken
	held    *hold    // nil until the last pressure is to be held

	keyed  bool           // somebody said that the pressure is there
	since  sample.Instant // the last level was taken, or the run began
	mostly sample.Instant // most channels have been settled since; Never before
}

// New begins a run.
func New(p Plan, at sample.Instant) (*Run, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	r := &Run{plan: p, windows: make([]window, len(p.Under)), since: at, mostly: sample.Never}
	every := p.spacing()
	for i, under := range p.Under {
		if under {
			r.windows[i] = newWindow(p.Dwell+p.patience(), every)
			r.windows[i].felt = true
		} else {
			r.windows[i] = newWindow(p.Dwell, p.Dwell/mostBeside)
		}
	}
	return r, nil
}

// Resume begins a run of which levels were read before, and the last was held if holds
// are given. What the channels did meanwhile is not known: a hold that was not over
// begins anew.
func Resume(p Plan, taken []Taken, holds []Hold, at sample.Instant) (*Run, error) {
	r, err := New(p, at)
	if err != nil {
		return nil, err
	}
	if len(taken) > len(p.Levels) {
		return nil, fmt.Errorf("%d levels of %d: %w", len(taken), len(p.Levels), ErrNoLevel)
	}
	for i := range taken {
		if t := &taken[i]; len(t.Raw) != len(p.Under) || len(t.SD) != len(p.Under) || len(t.Drift) != len(p.Under) {
			return nil, fmt.Errorf("level %d has %d readings of %d channels: %w", i+1, len(t.Raw), len(p.Under), ErrNoLevel)
		}
	}
	if r.taken = taken; p.Hold > 0 && len(taken) == len(p.Levels) {
		if holds == nil {
			r.taken = taken[:len(taken)-1]
		} else {
			r.held = holdOf(holds)
		}
	}
	r.remember()
	return r, nil
}

// Plan returns what the run goes through.
func (r *Run) Plan() Plan { return r.plan }

// Taken returns the levels that have been read. The caller must not change them.
func (r *Run) Taken() []Taken { return r.taken }

// Done reports whether every level has been read, and held if it is to be.
func (r *Run) Done() bool { return r.all() && (r.plan.Hold == 0 || r.held != nil && r.held.over) }

func (r *Run) all() bool { return len(r.taken) == len(r.plan.Levels) }

// Next returns the level to go to; false when there is none.
func (r *Run) Next() (Level, bool) {
	if r.all() {
		return Level{}, false
	}
	return r.plan.Levels[len(r.taken)], true
}

// Take takes a scan: one reading a channel, in counts, NaN where there is none. A
// scan that is not after the last one says nothing.
func (r *Run) Take(at sample.Instant, raw []float64) {
	for i := range min(len(raw), len(r.windows)) {
		r.windows[i].take(at, raw[i])
	}
	if r.held != nil && !r.held.over {
		r.follow(at, raw)
	}
}

// Ready says that the next pressure is there: it is read once it has settled,
// however little it differs from the last. Of one that is held it ends the hold.
func (r *Run) Ready() { r.keyed = true }

// ErrNoLevel is returned where there is no such level.
var ErrNoLevel = errors.New("there is no such level")

// Again takes back the level that was read last, which is read anew.
func (r *Run) Again(at sample.Instant) error {
	if len(r.taken) == 0 {
		return fmt.Errorf("nothing has been read yet: %w", ErrNoLevel)
	}
	r.taken, r.held = r.taken[:len(r.taken)-1], nil
	r.next(at)
	r.remember()
	return nil
}

// Gauge says what the gauge showed at a level that has been read, or shows at the
// next, counting from 0, in mmHg. Without it the level is what was asked for. Unless
// somebody is sure, what looks like kPa is refused with ErrKPa.
func (r *Run) Gauge(level int, mmHg float64, sure bool) error {
	switch {
	case level < 0 || level >= len(r.plan.Levels) || level > len(r.taken):
		return fmt.Errorf("level %d has not been come to: %w", level+1, ErrNoLevel)
	case !(mmHg >= 0) || mmHg > mostPressure:
		return fmt.Errorf("%g mmHg at level %d: want 0 to %d", mmHg, level+1, mostPressure)
	}
	if !sure {
		if err := r.inKPa(level, mmHg); err != nil {
			return err
		}
	}
	if level < len(r.taken) {
		r.taken[level].Reference = mmHg
		r.doubt()
	} else {
		// The plan is the run's own from here on.
		r.plan.Levels = append([]Level(nil), r.plan.Levels...)
		r.plan.Levels[level].Reference = mmHg
	}
	return nil
}

// A State is how a channel stands with the next level.
type State string

// The states.
const (
	Silent  State = "silent"  // it has not been heard of late
	Sparse  State = "sparse"  // it is heard too seldom to be told to have settled
	Waiting State = "waiting" // it is where it was at the last level
	Moving  State = "moving"
	Settled State = "settled"
)

// A Standing is a channel on its way to the next level.
type Standing struct {
	State State
	Raw   float64       // the mean over the last half of the dwell, in counts; NaN where it is not known
	Since time.Duration // for how long it has been where it is
}

// Standing returns how channel i stands.
func (r *Run) Standing(i int, now sample.Instant) Standing {
	w := &r.windows[i]
	if w.silent(now) {
		return Standing{Silent, math.NaN(), 0}
	}
	mean, _, settled := w.settled(now, r.plan.Dwell)
	s := Standing{Moving, mean, now.Sub(w.arrived)}
	switch {
	case w.sparse(now, r.plan.Dwell):
		s.State = Sparse
	case !r.begun(i, now):
		s.State = Waiting
	case settled && now.Sub(r.since) >= r.plan.Dwell:
		s.State = Settled
	}
	return s
}

// begun reports whether channel i may be on its way to the next level: it has left
// the last one, or somebody says so.
func (r *Run) begun(i int, now sample.Instant) bool {
	if r.keyed {
		return true
	}
	if r.plan.Keyed {
		return false
	}
	return len(r.taken) == 0 || r.left(i, now)
}

// left reports whether channel i has moved away from the last level by more than
// noise and creep would, and by a good part of the step if one knows how large
// that is.
func (r *Run) left(i int, now sample.Instant) bool {
	w := &r.windows[i]
	recent := w.since(now.Add(-2 * time.Second))
	if len(recent) == 0 || math.IsNaN(w.taken) || r.all() { // what is held at the end has no next
		return false
	}
	limit := 6*r.taken[len(r.taken)-1].SD[i] + 2*resolution(w.readings)
	by := median(values(recent)) - w.taken
	if by*w.came > 0 { // the way it came, which is the way of creep until it was moved
		until := now
		if w.arrived > r.since {
			until = w.arrived
		}
		limit = max(limit, math.Abs(w.taken-w.rest)*creeps*math.Log10(1+float64(until.Sub(r.since))/float64(r.plan.Dwell)))
	}
	next, last := r.plan.Levels[len(r.taken)].Reference, r.taken[len(r.taken)-1].Reference
	if by*w.sense*(next-last) < 0 {
		return false // a cuff that goes the other way is not on its way there
	}
	return math.Abs(by) > max(limit, 0.3*r.perMMHg(w)*math.Abs(next-last))
}

// perMMHg returns the counts of a mmHg over the levels so far; 0 where they do not
// tell.
func (r *Run) perMMHg(w *window) float64 {
	low, _ := r.plan.span()
	high := low
	for _, t := range r.taken {
		high = max(high, t.Reference)
	}
	if high == low {
		return 0
	}
	return w.most / (high - low)
}

// Look looks whether the next level has settled, or has been held for long enough,
// takes it if so, and reports that. It is to be called a few times a second.
func (r *Run) Look(now sample.Instant) bool {
	switch left, holding := r.Holding(now); {
	case holding && (r.keyed || left == 0):
		r.held.over = true
		return true
	case r.all():
		return false
	}
	answered := r.answered()
	begun, settled, asked := 0, 0, 0
	for i := range r.windows {
		if !r.plan.Under[i] || !r.asked(i, answered) {
			continue
		}
		s := r.Standing(i, now)
		if s.State == Silent || s.State == Sparse {
			continue
		}
		asked++
		if s.State != Waiting {
			begun++
		}
		if s.State == Settled {
			settled++
		}
	}
	// Before any channel has answered, one that moves is enough: dead ones are many
	// among those that do not.
	enough := begun*2 >= asked || !answered && begun > 0
	if !enough || settled == 0 || settled*2 < begun {
		r.mostly = sample.Never
		return false
	}
	if r.mostly == sample.Never {
		r.mostly = now
	}
	if settled < begun && now.Sub(r.mostly) < r.plan.patience() {
		return false
	}
	r.read(now)
	return true
}

// answered reports whether any channel under the cuff has moved with it yet.
func (r *Run) answered() bool {
	for i := range r.windows {
		if r.plan.Under[i] && r.windows[i].most > 0 {
			return true
		}
	}
	return false
}

// asked reports whether channel i has a say in whether the next level has settled:
// if it has moved with the cuff yet, or while none has. One that did not settle at
// the last level has none.
func (r *Run) asked(i int, answered bool) bool {
	if n := len(r.taken); n > 0 && math.IsNaN(r.taken[n-1].Raw[i]) {
		return false
	}
	return !answered || r.windows[i].most > 0
}

// read takes the next level.
func (r *Run) read(now sample.Instant) {
	n := len(r.windows)
	t := Taken{Level: r.plan.Levels[len(r.taken)], At: now, Raw: make([]float64, n), SD: make([]float64, n), Drift: make([]float64, n)}
	for i := range r.windows {
		w := &r.windows[i]
		mean, sd, settled := w.settled(now, r.plan.Dwell)
		t.Raw[i], t.SD[i] = mean, sd
		switch {
		case w.silent(now):
			t.Raw[i] = math.NaN()
		case !settled && r.plan.Under[i]: // of others one wants to know only whether they follow
			t.Raw[i], t.Drift[i] = math.NaN(), w.moved(now, r.plan.Dwell)
		}
		if r.plan.Under[i] && math.IsNaN(t.Raw[i]) {
			t.Unknown++
		}
	}
	r.taken = append(r.taken, t)
	r.next(now)
	r.remember()
	if r.plan.Hold > 0 && r.all() {
		r.hold(now)
	}
}

// next waits for another level.
func (r *Run) next(now sample.Instant) { r.keyed, r.since, r.mostly = false, now, sample.Never }

// remember tells the windows where the levels were that have been read.
func (r *Run) remember() {
	for i := range r.windows {
		w := &r.windows[i]
		w.rest, w.most, w.taken, w.came, w.sense = math.NaN(), 0, math.NaN(), 0, 0
		for _, t := range r.taken {
			v := t.Raw[i]
			switch {
			case math.IsNaN(v):
				continue
			case math.IsNaN(w.rest):
				w.rest = v
			case math.Abs(v-w.rest) > 6*t.SD[i]+2*resolution(w.readings):
				if d := math.Abs(v - w.rest); d > w.most {
					w.most, w.sense = d, math.Copysign(1, v-w.rest)
				}
			}
			if !math.IsNaN(w.taken) {
				w.came = v - w.taken
			}
			w.taken = v
		}
	}
	r.doubt()
}
