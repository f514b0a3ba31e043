// Package rehearsal judges recordings by rules as if they came in live: the
// same engine, as fast as it goes. It knows nothing of files and formats; an
// Input plays them.
package rehearsal

import (
	"cmp"
	"context"
	"errors"
	"iter"
	"slices"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/rules/tuning"
	"weald/stream/ahead"
)

// An Input plays one recording from its beginning: it calls out for every scan
// in order of arrival, and does not touch a scan until out has returned. It may
// be played more than once.
type Input func(ctx context.Context, out func(*sample.Scan)) error

// Options are the choices of a rehearsal.
type Options struct {
	// From and To bound the event times that are judged, To excluded. Zero
	// values stand for sample.Past and sample.Never.
	From, To sample.Instant

	// ByEventTime puts late scans in their place, as the live run could not.
	ByEventTime bool

	// Event is called for every change that any of the plans brings, in the order
	// in which they are found; nil for nobody.
	Event func(alert.Event)
}

// A Result is what a rehearsal found.
type Result struct {
	Events   []alert.Event  // by time; at the same instant as the engine told them
	Scans    int            // that were judged or late
	Late     int            // scans that were too old to be judged
	From, To sample.Instant // of the readings; Never and Past without any
	Figures  tuning.Figures

	// Own is how many alerts of the daemon itself a record has of that time: of its disk,
	// its clock, its senders. What they were raised by is in no record, and nobody judges
	// them again. Whoever plays a record sets it.
	Own int
}

// Run judges the inputs by each of the plans, which are in order and differ in
// their rules only. They are played once for all of them.
func Run(ctx context.Context, plans []*rules.Plan, inputs []Input, o Options) ([]*Result, error) {
	runs := newRuns(plans, o)
	timers := make([]*timer, len(runs))
	for i, r := range runs {
		timers[i] = newTimer(plans[i], r.engine)
	}
	inputs, err := inOrder(ctx, inputs, o)
	if err != nil {
		return nil, err
	}
	for i := range inputs {
		inputs[i] = early(inputs[i], batchOf(plans[0]))
	}
	err = merge(ctx, inputs, func(s *sample.Scan) {
		for i, r := range runs {
			if r.count(s) {
				timers[i].until(s.Arrived)
				timers[i].heard(s)
				r.engine.Scan(s)
			}
		}
	})
	if err != nil {
		return nil, err
	}
	for _, r := range runs {
		r.engine.Finish()
	}
	out := resultsOf(runs, plans)
	for _, r := range out {
		r.Figures.AckSoon = sample.Unknown // there is nobody who could
	}
	return out, nil
}

// Replay judges what a record has of a live run by each of the plans, which differ in
// their rules only: feed gives every input of the live engine, what people did among
// them, in its order, and once for all of them. It ends where the record ends, so that
// the events are those of the live run, to the byte, if the rules are.
func Replay(plans []*rules.Plan, o Options, feed func(*Live) error) ([]*Result, error) {
	runs := newRuns(plans, o)
	if err := feed(&Live{runs}); err != nil {
		return nil, err
	}
	return resultsOf(runs, plans), nil
}

// A Live is engines that judge again what was judged live.
type Live struct{ runs []*run }

// Scan judges a scan that is in the span.
func (l *Live) Scan(s *sample.Scan) {
	for _, r := range l.runs {
		if r.count(s) {
			r.engine.Scan(s)
		}
	}
}

// TickPlace lets time pass.
func (l *Live) TickPlace(place int, now sample.Instant) {
	for _, r := range l.runs {
		r.engine.TickPlace(place, now)
	}
}

// Act does what a person did. An alert that only some of the rules raise is for the
// others not there, which is what the errors say.
func (l *Live) Act(place int, k alert.Key, a alert.Action) error {
	var errs []error
	for _, r := range l.runs {
		errs = append(errs, r.engine.Act(place, k, a))
	}
	return errors.Join(errs...)
}

// Mark goes by a mark that a person set.
func (l *Live) Mark(place int, word string, at sample.Instant) {
	for _, r := range l.runs {
		r.engine.Mark(place, word, at)
	}
}

func newRuns(plans []*rules.Plan, o Options) []*run {
	runs := make([]*run, len(plans))
	for i, plan := range plans {
		runs[i] = newRun(o)
		runs[i].engine = rules.NewEngine(lean(plan), runs[i])
	}
	return runs
}

func resultsOf(runs []*run, plans []*rules.Plan) []*Result {
	out := make([]*Result, len(runs))
	for i, r := range runs {
		out[i] = r.result(plans[i])
	}
	return out
}

func newRun(o Options) *run {
	if o.From == 0 && o.To == 0 {
		o.From, o.To = sample.Past, sample.Never
	}
	return &run{options: o, Result: Result{From: sample.Never, To: sample.Past}}
}

// count notes a scan, and reports whether it is to be judged.
func (r *run) count(s *sample.Scan) bool {
	if s.At < r.options.From || s.At >= r.options.To {
		return false
	}
	r.Scans++
	r.From, r.To = min(r.From, s.At), max(r.To, s.At)
	return true
}

func (r *run) result(plan *rules.Plan) *Result {
	slices.SortStableFunc(r.Events, func(a, b alert.Event) int { return cmp.Compare(a.At, b.At) })
	if r.Scans > 0 {
		r.Figures = tuning.Compute(r.Events, len(plan.Places), r.From, r.To)
	}
	return &r.Result
}

// A run is the sink of the engine.
type run struct {
	options Options
	engine  *rules.Engine
	Result
}

func (r *run) Alert(e alert.Event) {
	r.Events = append(r.Events, e)
	if r.options.Event != nil {
		r.options.Event(e)
	}
}
func (*run) Updated(int, sample.Instant) {}
func (r *run) Late(int, *sample.Scan)    { r.Result.Late++ }

// inOrder leaves inputs as they are, or makes them play by event time.
func inOrder(ctx context.Context, inputs []Input, o Options) ([]Input, error) {
	if !o.ByEventTime {
		return slices.Clone(inputs), nil
	}
	out := make([]Input, len(inputs))
	for i, in := range inputs {
		late, err := lateOnes(ctx, in)
		if err != nil {
			return nil, err
		}
		out[i] = byEventTime(in, late)
	}
	return out, nil
}

// merge plays the inputs together, by arrival; of scans that arrived at the
// same instant those of the earlier input come first.
func merge(ctx context.Context, inputs []Input, out func(*sample.Scan)) error {
	if len(inputs) == 1 {
		return inputs[0](ctx, out)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	type head struct {
		next func() (*sample.Scan, bool)
		scan *sample.Scan
	}
	var heads []*head
	errs := make([]error, len(inputs))
	for i, in := range inputs {
		next, stop := iter.Pull(pull(ctx, in, &errs[i]))
		defer stop()
		if s, ok := next(); ok {
			heads = append(heads, &head{next, s})
		}
	}
	for len(heads) > 0 {
		first := 0
		for i, h := range heads {
			if h.scan.Arrived < heads[first].scan.Arrived {
				first = i
			}
		}
		h := heads[first]
		out(h.scan)
		var ok bool
		if h.scan, ok = h.next(); !ok {
			heads = slices.Delete(heads, first, first+1)
		}
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// pull turns an input into a sequence that a merge can take from.
func pull(ctx context.Context, in Input, err *error) iter.Seq[*sample.Scan] {
	return func(yield func(*sample.Scan) bool) {
		ctx, cancel := context.WithCancel(ctx)
		defer cancel()
		wanted := true
		*err = in(ctx, func(s *sample.Scan) {
			if wanted = wanted && yield(s); !wanted {
				cancel()
			}
		})
	}
}

// batchOf is how many scans of a plan are handed over at a time: about as many readings
// for a wrap as for a mat, whose scans are large.
func batchOf(plan *rules.Plan) int {
	const readings, fewest, most = 1 << 12, 8, 64
	largest := 1
	for i := range plan.Sources {
		largest = max(largest, plan.Sources[i].Channels)
	}
	return min(max(readings/largest, fewest), most)
}

// early plays an input ahead of who takes from it, beside it, in batches of so many scans.
func early(in Input, batch int) Input {
	return func(ctx context.Context, out func(*sample.Scan)) error {
		for s, err := range ahead.In(batch, copies(ctx, in, ahead.Most(batch))) {
			if err != nil {
				return err
			}
			out(s)
		}
		return nil
	}
}

// copies yields the scans of an input, each valid while so many less one more are asked
// for, and last its error, if it ends with one.
func copies(ctx context.Context, in Input, valid int) iter.Seq2[*sample.Scan, error] {
	return func(yield func(*sample.Scan, error) bool) {
		ring := make([]sample.Scan, valid)
		var err error
		n := 0
		for s := range pull(ctx, in, &err) {
			c := &ring[n]
			if c.Set(s); !yield(c, nil) {
				return
			}
			if n++; n == len(ring) {
				n = 0
			}
		}
		if err != nil {
			yield(nil, err)
		}
	}
}

// lean is the plan without what only people look at: a rehearsal shows alerts.
func lean(plan *rules.Plan) *rules.Plan {
	p := *plan
	p.Lean = true
	return &p
}
