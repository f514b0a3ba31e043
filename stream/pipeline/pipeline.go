// Package pipeline is the one loop of the daemon: scans go in, the rules judge
// them, and what they find is told to followers and answered to those who ask.
//
// Run's goroutine owns the engine, the list of alerts and everything else in a
// State; nothing else may touch them. Other goroutines reach it in two ways.
// Put hands over a scan: it copies the scan and, when as many scans wait as the
// queue holds, blocks until there is room, so that a bridge that is too fast is
// slowed and its losses show as gaps in its own sequence numbers; nothing is
// dropped in silence. Do runs a function on Run's goroutine; what the function
// wants to keep it must copy.
//
// Followers are called on Run's goroutine, in order, and must return at once:
// those that serve slow readers keep queues of their own.
package pipeline

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"time"

	"weald/ingest/calib/applied"
	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/hostclock"
	"weald/stream/view"
)

// ErrStopped is returned by Put, and by whatever changes something, once Run has ended;
// by Do, unless the pipeline has handed over.
var ErrStopped = errors.New("the pipeline has stopped")

// A Judge is what the loop needs of a *rules.Engine.
type Judge interface {
	Scan(*sample.Scan)
	TickPlace(place int, now sample.Instant)
	NextPlace(place int) sample.Instant
	LastScan(place int) sample.Instant
	Signals(place int) []rules.Signal
	Cells(place int, loaded []time.Duration) (rules.Cells, bool)
	Progress(place int, dst []rules.Progress) []rules.Progress
	Sitting(place int) (rules.Sitting, bool)
	Permits(place int, k alert.Key, a alert.Action) error
	Act(place int, k alert.Key, a alert.Action) error
	Mark(place int, word string, at sample.Instant)
}

// A Clock tells the time and makes timers for its own pace.
type Clock interface {
	Now() sample.Instant
	Speed() float64
	NewTimer() hostclock.Timer
}

// A Follower is told what happens, on the pipeline's goroutine.
type Follower interface {
	// Updated follows every evaluated scan of a place, and every instant at
	// which something became due between scans. The update and all that it
	// refers to are valid only until the call returns.
	Updated(*Update)
	// Alert follows every change of an alert, with the alert as it now is.
	Alert(view.Alert, alert.Change)
}

// An Update is the state of a place just after it was evaluated.
type Update struct {
	Place   int
	At      sample.Instant // event time
	Now     sample.Instant // on the daemon's clock
	Signals []rules.Signal

	// Holds is nil but once a second: counting through the cells of a mat
	// ten times a second would tell nobody anything.
	Holds []rules.Progress

	Cells rules.Cells // Rows is 0 for a place without a mat
}

// Options are what New needs.
type Options struct {
	Plan  *rules.Plan
	Clock Clock
	Views *view.Builder

	// Judge makes the engine; nil means rules.NewEngine.
	Judge func(*rules.Plan, rules.Sink) Judge

	// Delay is told, for every alert that is raised or cleared, how much later
	// that happened than it could have been known; nil to not care.
	Delay func(time.Duration)

	// Queue is how many scans may wait; 0 means 256.
	Queue int

	// Recorder keeps inputs and events; nil keeps nothing. Ord is the ordinal
	// of the last input that it has already.
	Recorder Recorder
	Ord      uint64

	// Applied are the calibration records in force, which convert scans before
	// anything else sees them; nil for none. The pipeline owns them.
	Applied *applied.Set

	// Former is the pipeline that has handed over to this one, in this process; nil
	// if none has. What it knew of places and sources that are the same goes on, and
	// so do the alerts that it listed: Past is nil then.
	Former *Pipeline

	// Until is closed when all scans have been put that came before this run, and wait
	// to be judged: before that, time passes only as they say. Nil if there are none.
	Until <-chan struct{}

	// Past are changes of alerts that former runs have kept and told, by time.
	// Found are changes that were judged by a former run which ended before it
	// could keep them: they are kept and told when Run begins.
	Past, Found []alert.Event
}

// A waiting scan, and since when it does, on the daemon's clock.
type waiting struct {
	scan  sample.Scan
	since sample.Instant
	taken chan<- struct{} // closed when it has been judged; nil if nobody waits for that
}

// A Pipeline is the loop with its queues.
type Pipeline struct {
	clock     Clock
	delay     func(time.Duration)
	followers []Follower // set before Run

	in    chan *waiting
	free  chan struct{} // a token for each that in has room for and that is not being judged
	rooms sync.Pool     // of *waiting: those of a burst are let go after it
	asks  chan func(*State)
	done  chan struct{} // closed when Run returns

	behind atomic.Int64 // how long the scan taken last had waited, ns
	scans  atomic.Uint64
	full   atomic.Uint64 // Puts that had to wait

	unkept atomic.Uint64 // events that the recorder could not keep

	latest *latest // raw readings; safe for use by anyone

	over atomic.Bool // it has handed over; its state does not change any more
	late sync.Mutex  // held by who reads the state when it is over

	// Owned by Run's goroutine.
	state    *State
	recorder Recorder
	applied  *applied.Set
	watches  []*watch
	ord      uint64
	until    <-chan struct{} // nil when there is nothing to wait for
	found    []alert.Event   // by the input that is being judged
}

// New builds a pipeline and its engine. It starts nothing.
func New(o Options) *Pipeline {
	if o.Queue <= 0 {
		o.Queue = 256
	}
	if o.Judge == nil {
		o.Judge = func(plan *rules.Plan, sink rules.Sink) Judge { return rules.NewEngine(plan, sink) }
	}
	if o.Applied == nil {
		o.Applied = applied.NewSet(sourcesOf(o.Plan))
	}
	if o.Delay == nil {
		o.Delay = func(time.Duration) {}
	}
	p := &Pipeline{
		clock: o.Clock,
		delay: o.Delay,
		in:    make(chan *waiting, o.Queue),
		free:  make(chan struct{}, o.Queue),
		rooms: sync.Pool{New: func() any { return new(waiting) }},
		asks:  make(chan func(*State)),
		done:  make(chan struct{}),

		recorder: o.Recorder, ord: o.Ord, applied: o.Applied, until: o.Until,
		latest: newLatest(len(o.Plan.Sources), o.Clock),
	}
	for range o.Queue {
		p.free <- struct{}{}
	}
	p.state = newState(o.Plan, o.Views, o.Clock)
	p.state.judge = o.Judge(o.Plan, sink{p})
	p.state.prepare()
	if o.Former != nil {
		p.succeed(o.Former)
	}
	for i := range p.state.places {
		p.state.expect(i)
	}
	p.takeUp(o.Past, o.Found)
	return p
}

// sourcesOf returns the sources of a plan as calibrations know them.
func sourcesOf(plan *rules.Plan) []applied.Source {
	out := make([]applied.Source, len(plan.Sources))
	for i := range plan.Sources {
		out[i] = applied.Source{ID: plan.Sources[i].ID, Channels: plan.Sources[i].Channels, U: plan.Sources[i].U}
	}
	return out
}

// Follow adds a follower; followers are told in the order in which they were
// added. It must not be called once Run has begun.
func (p *Pipeline) Follow(f Follower) { p.followers = append(p.followers, f) }

// Put hands over a copy of s. It blocks while the queue is full, until ctx ends
// or the pipeline stops.
func (p *Pipeline) Put(ctx context.Context, s *sample.Scan) error { return p.put(ctx, s, nil) }

// PutAndWait is Put, but returns only when the scan has been given to the
// recorder and judged.
func (p *Pipeline) PutAndWait(ctx context.Context, s *sample.Scan) error {
	taken := make(chan struct{})
	if err := p.put(ctx, s, taken); err != nil {
		return err
	}
	select {
	case <-taken:
		return nil
	case <-p.done:
		return ErrStopped
	}
}

func (p *Pipeline) put(ctx context.Context, s *sample.Scan, taken chan<- struct{}) error {
	p.latest.put(s)
	select {
	case <-p.free:
	default:
		p.full.Add(1)
		select {
		case <-p.free:
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-p.done:
			return ErrStopped
		}
	}
	kept := p.rooms.Get().(*waiting)
	kept.scan.Set(s)
	kept.since, kept.taken = p.clock.Now(), taken
	p.in <- kept // there are no more scans than places in the queue
	return nil
}

// Do runs f, which only reads, on the pipeline's goroutine and returns when it has
// run. It must not be called from that goroutine. Of a pipeline that has handed over, f
// sees what it was.
func (p *Pipeline) Do(ctx context.Context, f func(*State)) error {
	err := p.do(ctx, f)
	if err == ErrStopped && p.over.Load() {
		p.late.Lock()
		defer p.late.Unlock()
		f(p.state)
		return nil
	}
	return err
}

// do is Do for what changes something, which can only be done while Run runs.
func (p *Pipeline) do(ctx context.Context, f func(*State)) error {
	ran := make(chan struct{})
	select {
	case p.asks <- func(s *State) { f(s); close(ran) }:
		<-ran
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-p.done:
		return ErrStopped
	}
}

// A Load says how well the pipeline keeps up.
type Load struct {
	Scans   uint64        // taken since the start
	Unkept  uint64        // events that could not be made durable, and were told all the same
	Waiting int           // scans in the queue
	Blocked uint64        // how often a bridge had to wait for room
	Behind  time.Duration // how long the scan taken last had waited; 0 when none waits now
}

// Load may be called from any goroutine.
func (p *Pipeline) Load() Load {
	l := Load{Scans: p.scans.Load(), Unkept: p.unkept.Load(), Waiting: len(p.in), Blocked: p.full.Load()}
	if l.Waiting > 0 {
		l.Behind = time.Duration(p.behind.Load())
	}
	return l
}
