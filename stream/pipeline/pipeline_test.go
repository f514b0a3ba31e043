package pipeline

import (
	"context"
	"errors"
	"math"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/hostclock"
	"weald/stream/view"
)

func wrapPlan(onDelay time.Duration) *rules.Plan {
	above := 60.0
	return &rules.Plan{
		Sources: []rules.Source{{ID: "trolley/leg", Channels: 2, StaleAfter: 3 * time.Second, Calibrated: true}},
		Places: []rules.Place{{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{
			{ID: "ankle", Channels: []rules.Channel{{Source: 0, Index: 0}}},
			{ID: "calf", Channels: []rules.Channel{{Source: 0, Index: 1}}},
		}}},
		Rules: []rules.Rule{{
			ID: "tight", Priority: alert.Medium, OnDelay: onDelay, OffDelay: time.Second,
			ForgetAfter: rules.DefaultForgetAfter,
			Limit:       &rules.Limit{Watch: "ankle.pressure", Above: &above},
		}},
	}
}

// told is a follower that remembers.
type told struct {
	alerts  []view.Alert
	changes []alert.Change
	at      []time.Time
	updates int
}

func (t *told) Updated(*Update) { t.updates++ }
func (t *told) Alert(a view.Alert, what alert.Change) {
	t.alerts, t.changes, t.at = append(t.alerts, a), append(t.changes, what), append(t.at, time.Now())
}

// start runs a pipeline over the plan until the test ends.
func start(t *testing.T, plan *rules.Plan, o Options, followers ...Follower) *Pipeline {
	t.Helper()
	o.Plan, o.Views = plan, view.New(plan, nil, time.UTC)
	if o.Clock == nil {
		o.Clock = hostclock.New(1)
	}
	p := New(o)
	for _, f := range followers {
		p.Follow(f)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- p.Run(ctx) }()
	t.Cleanup(func() { stop(); <-ended })
	return p
}

func scan(clock Clock, delay time.Duration, values ...float64) *sample.Scan {
	now := clock.Now()
	return &sample.Scan{At: now.Add(-delay), Arrived: now, Values: values, Raw: values}
}

func TestAlertIsRaisedByTimerAtItsExactInstant(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var seen told
		var delays []time.Duration
		clock := hostclock.New(1)
		p := start(t, wrapPlan(2500*time.Millisecond), Options{Clock: clock, Delay: func(d time.Duration) { delays = append(delays, d) }}, &seen)
		const wire = 20 * time.Millisecond // from the sensor to the daemon
		began := clock.Now()
		for range 3 { // readings at 0, 1 and 2 s, and then none: due in between
			if err := p.Put(t.Context(), scan(clock, wire, 70, 30)); err != nil {
				t.Fatal(err)
			}
			time.Sleep(time.Second)
		}
		time.Sleep(2 * time.Second)
		synctest.Wait()
		if len(seen.changes) == 0 || seen.changes[0] != alert.Raised {
			t.Fatalf("changes %v, want a raise first", seen.changes)
		}
		due := began.Add(2500*time.Millisecond - wire)
		if got := sample.At(*seen.alerts[0].RaisedAt); got != due {
			t.Errorf("raised at %v, want exactly %v", got, due)
		}
		late := sample.At(seen.at[0]).Sub(due.Add(wire))
		if late < 0 || late > 250*time.Millisecond {
			t.Errorf("told %v after it could be known, want at most 250 ms", late)
		}
		if len(delays) != 1 || delays[0] != late {
			t.Errorf("delays %v, want the one of %v", delays, late)
		}
	})
}

func TestSignalsGoUnknownAndTheAlertStays(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var seen told
		clock := hostclock.New(1)
		p := start(t, wrapPlan(time.Second), Options{Clock: clock}, &seen)
		for range 3 {
			p.Put(t.Context(), scan(clock, 0, 70, 30))
			time.Sleep(time.Second)
		}
		time.Sleep(time.Minute)
		var v view.Place
		var alerts []view.Alert
		if err := p.Do(t.Context(), func(s *State) { v, alerts = s.Place(0), s.Alerts() }); err != nil {
			t.Fatal(err)
		}
		if v.Signals["ankle.pressure"].Value != nil || v.Signals["calf.pressure"].Value != nil {
			t.Errorf("a minute after the last reading the signals still have values: %+v", v.Signals)
		}
		if v.State != view.StateAlert || len(alerts) != 1 || alerts[0].State != string(alert.Unacknowledged) || alerts[0].SignalKnown {
			t.Errorf("state %s, alerts %+v; want one that stands and says its signal is unknown", v.State, alerts)
		}
	})
}

// One that nobody has acknowledged is there for whoever comes next on the shift, and its place says so.
func TestAlertsThatAreOverAreListedForAWhile(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := hostclock.New(1)
		p := start(t, wrapPlan(0), Options{Clock: clock})
		p.Put(t.Context(), scan(clock, 0, 70, 30))
		time.Sleep(time.Second)
		for range 3 {
			p.Put(t.Context(), scan(clock, 0, 30, 30))
			time.Sleep(time.Second)
		}
		list := func() (alerts []view.Alert) {
			if err := p.Do(t.Context(), func(s *State) { alerts = s.Alerts() }); err != nil {
				t.Fatal(err)
			}
			return alerts
		}
		shown := func() (v view.Place) {
			if err := p.Do(t.Context(), func(s *State) { v = s.Place(0) }); err != nil {
				t.Fatal(err)
			}
			return v
		}
		if v := shown(); v.State != view.StateOver || len(v.Alerts) != 1 {
			t.Errorf("the place is %s with %+v, want one over", v.State, v.Alerts)
		}
		time.Sleep(12*time.Hour - time.Minute)
		if got := list(); len(got) != 1 || got[0].State != string(alert.Returned) || got[0].ClearedAt == nil {
			t.Errorf("near the end of the shift: %+v, want the cleared alert", got)
		}
		key := alert.Key{Place: "bench-1", Rule: "tight", Subject: "ankle"}
		if a, err := p.Act(t.Context(), key, Deed{Verb: alert.Acknowledge, Who: "K-07"}); err != nil || a.State != string(alert.Normal) {
			t.Errorf("acknowledged: %+v, %v", a, err)
		}
		if v := shown(); v.State == view.StateOver || len(v.Alerts) != 0 {
			t.Errorf("acknowledged, the place is %s with %+v", v.State, v.Alerts)
		}
		time.Sleep(59 * time.Minute)
		if got := list(); len(got) != 1 {
			t.Errorf("within an hour after it was acknowledged: %+v, want it", got)
		}
		time.Sleep(2 * time.Minute)
		if got := list(); len(got) != 0 {
			t.Errorf("an hour after it was done with: %+v, want none", got)
		}
	})
}

// A still judge never finds anything and wants the time when it is told to.
type still struct {
	next   sample.Instant
	ticks  int
	scans  int
	marks  int
	inside chan struct{} // Scan waits for it, if not nil
}

func (s *still) Scan(*sample.Scan) {
	if s.inside != nil {
		<-s.inside
	}
	s.scans++
}
func (s *still) TickPlace(int, sample.Instant)                         { s.ticks++ }
func (s *still) NextPlace(int) sample.Instant                          { return s.next }
func (s *still) LastScan(int) sample.Instant                           { return sample.Past }
func (s *still) Signals(int) []rules.Signal                            { return nil }
func (s *still) Cells(int, []time.Duration) (rules.Cells, bool)        { return rules.Cells{}, false }
func (s *still) Progress(_ int, dst []rules.Progress) []rules.Progress { return dst }
func (*still) Sitting(int) (rules.Sitting, bool)                       { return rules.Sitting{}, false }
func (*still) Permits(int, alert.Key, alert.Action) error              { return nil }
func (*still) Act(int, alert.Key, alert.Action) error                  { return nil }
func (s *still) Mark(int, string, sample.Instant)                      { s.marks++ }

func judgeOf(s *still) func(*rules.Plan, rules.Sink) Judge {
	return func(*rules.Plan, rules.Sink) Judge { return s }
}

func TestFullQueueHoldsTheBridgeBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &still{next: sample.Never, inside: make(chan struct{})}
		clock := hostclock.New(1)
		p := start(t, wrapPlan(0), Options{Clock: clock, Judge: judgeOf(j), Queue: 4})
		for range 4 {
			if err := p.Put(t.Context(), scan(clock, 0, 1, 2)); err != nil {
				t.Fatal(err)
			}
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if err := p.Put(ctx, scan(clock, 0, 1, 2)); !errors.Is(err, context.DeadlineExceeded) {
			t.Fatalf("a fifth scan for a queue of four: %v, want to wait", err)
		}
		if l := p.Load(); l.Waiting == 0 || l.Blocked != 1 {
			t.Errorf("load %+v, want scans that wait and one Put that had to", l)
		}
		close(j.inside)
		synctest.Wait()
		if err := p.Put(t.Context(), scan(clock, 0, 1, 2)); err != nil {
			t.Errorf("with room again: %v", err)
		}
		synctest.Wait()
		if j.scans != 5 {
			t.Errorf("%d scans were judged, want all 5", j.scans)
		}
	})
}

func TestEngineThatIsAlwaysDueCannotSpin(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &still{next: 0}
		start(t, wrapPlan(0), Options{Judge: judgeOf(j)})
		time.Sleep(time.Second)
		synctest.Wait()
		if j.ticks < 50 || j.ticks > 101 {
			t.Errorf("%d ticks in a second, want about one every %v", j.ticks, pause)
		}
	})
}

func TestStoppedPipelineAnswersEverybody(t *testing.T) {
	plan := wrapPlan(0)
	p := New(Options{Plan: plan, Views: view.New(plan, nil, time.UTC), Clock: hostclock.New(1), Queue: 1})
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if err := p.Run(ctx); !errors.Is(err, context.Canceled) {
		t.Fatalf("Run: %v", err)
	}
	if err := p.Do(t.Context(), func(*State) {}); !errors.Is(err, ErrStopped) {
		t.Errorf("Do: %v, want ErrStopped", err)
	}
	s := &sample.Scan{}
	p.Put(t.Context(), s)
	if err := p.Put(t.Context(), s); !errors.Is(err, ErrStopped) {
		t.Errorf("Put into a full queue: %v, want ErrStopped", err)
	}
}

func TestPutAndScanDoNotAllocate(t *testing.T) {
	plan := wrapPlan(30 * time.Second)
	clock := hostclock.NewManual(0)
	p := New(Options{Plan: plan, Views: view.New(plan, nil, time.UTC), Clock: clock, Queue: 4})
	s := scan(clock, 0, 70, 30)
	step := func() {
		clock.Advance(100 * time.Millisecond)
		s.At, s.Arrived = clock.Now(), clock.Now()
		if err := p.Put(context.Background(), s); err != nil {
			t.Fatal(err)
		}
		p.take(<-p.in)
	}
	for range 10 {
		step()
	}
	n := math.Inf(1)
	for range 3 { // what other tests leave running is counted too, and passes
		n = min(n, testing.AllocsPerRun(100, step))
	}
	if n != 0 {
		t.Errorf("%v allocations a scan, want none", n)
	}
}

func TestPlaceOfAnOldRecordingLivesInItsOwnTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := hostclock.New(1)
		p := start(t, wrapPlan(time.Hour), Options{Clock: clock})
		const old = 5 * 365 * 24 * time.Hour
		for range 5 {
			p.Put(t.Context(), scan(clock, old, 41, 22))
			time.Sleep(time.Second)
		}
		var v view.Place
		p.Do(t.Context(), func(s *State) { v = s.Place(0) })
		got := v.Signals["ankle.pressure"].Value
		if got == nil || math.Abs(*got-41) > 1e-9 {
			t.Errorf("a second after its last reading the ankle is %v, want 41", got)
		}
		time.Sleep(time.Minute)
		p.Do(t.Context(), func(s *State) { v = s.Place(0) })
		if got := v.Signals["ankle.pressure"].Value; got != nil {
			t.Errorf("a minute after its last reading the ankle is still %v", *got)
		}
	})
}

// A recording that is played faster than it was made must be judged by its own
// time: what falls due between two of its readings is not decided before the
// second has come.
func TestRecordingIsNotJudgedAheadOfItsReadings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var seen told
		p := start(t, wrapPlan(2500*time.Millisecond), Options{}, &seen)
		at := sample.Instant(5e17) // years ago
		for i := range 1000 {      // above for two seconds, below for one, again and again
			v := 70.0
			if i%3 == 2 {
				v = 50
			}
			if err := p.Put(t.Context(), &sample.Scan{At: at, Arrived: at, Values: []float64{v, 30}}); err != nil {
				t.Fatal(err)
			}
			at = at.Add(time.Second)
			time.Sleep(time.Millisecond)
		}
		synctest.Wait()
		if len(seen.changes) != 0 {
			t.Errorf("changes %v, want none", seen.changes)
		}
	})
}

// Scans that waited for a pipeline are judged as if they came in time, however late they
// are by its clock; from then on time passes by itself.
func TestWhatWaitedIsNotLate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := hostclock.New(1)
		began := clock.Now()
		waited := make(chan struct{})
		heard := &told{}
		p := start(t, wrapPlan(30*time.Second), Options{Clock: clock, Until: waited}, heard)
		put := func(seconds int, mmHg float64) {
			at := began.Add(time.Duration(seconds) * time.Second)
			if err := p.PutAndWait(t.Context(), &sample.Scan{At: at, Arrived: at, Rail: math.NaN(), Values: []float64{mmHg, 20}, Raw: []float64{mmHg, 20}}); err != nil {
				t.Fatal(err)
			}
		}
		put(0, 70)
		time.Sleep(40 * time.Second) // the rest was read meanwhile, and waits
		if len(heard.changes) > 0 {
			t.Fatalf("%v before the scans that waited had their say", heard.changes)
		}
		for s := 1; s <= 40; s++ {
			put(s, 70)
		}
		if late := lateAt(t, p, 0); late > 0 || len(heard.changes) != 1 || heard.alerts[0].RaisedAt == nil || !heard.alerts[0].RaisedAt.Equal(began.Add(30*time.Second).Time()) {
			t.Errorf("%d are late; %v: %+v", late, heard.changes, heard.alerts)
		}
		close(waited)
		time.Sleep(10 * time.Second)
		synctest.Wait()
		if err := p.Do(t.Context(), func(s *State) {
			if sig := s.Signals(0)[0]; s.Current(0, &sig) {
				t.Errorf("time does not pass: %+v", sig)
			}
		}); err != nil {
			t.Fatal(err)
		}
	})
}

func lateAt(t *testing.T, p *Pipeline, place int) (late uint64) {
	t.Helper()
	if err := p.Do(t.Context(), func(s *State) { late = s.Late(place) }); err != nil {
		t.Fatal(err)
	}
	return late
}
