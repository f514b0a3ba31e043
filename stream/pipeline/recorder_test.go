package pipeline

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/hostclock"
	"weald/stream/view"
)

// A diary is a recorder, and a follower, that writes down what it is told.
type diary struct {
	lines []string
	fail  error
}

func (d *diary) Scan(ord uint64, s *sample.Scan) {
	d.lines = append(d.lines, fmt.Sprintf("%d scan %v", ord, s.Values))
}
func (d *diary) Tick(ord uint64, place int, now sample.Instant) {
	d.lines = append(d.lines, fmt.Sprintf("%d tick %d", ord, place))
}
func (d *diary) Act(ord uint64, k alert.Key, a alert.Action) error {
	if d.fail == nil {
		d.lines = append(d.lines, fmt.Sprintf("%d kept %s by %s", ord, a.Verb, a.Who))
	}
	return d.fail
}
func (d *diary) Mark(ord uint64, place int, m Mark) (uint64, error) {
	if d.fail == nil {
		d.lines = append(d.lines, fmt.Sprintf("%d kept a mark at %d: %s", ord, place, m.Word))
	}
	return 3, d.fail
}
func (d *diary) Calibrate(ord uint64, r *record.Record) error {
	if d.fail == nil {
		d.lines = append(d.lines, fmt.Sprintf("%d kept a calibration by %s", ord, r.By))
	}
	return d.fail
}
func (d *diary) Zero(ord uint64, z *record.Zeroing) error {
	if d.fail == nil {
		d.lines = append(d.lines, fmt.Sprintf("%d kept a zeroing of %v by %s", ord, z.Shown, z.By))
	}
	return d.fail
}
func (d *diary) Commit(_ uint64, events []alert.Event, _ func(string) []byte) (bool, error) {
	for _, e := range events {
		d.lines = append(d.lines, "kept "+string(e.What))
	}
	return false, d.fail
}
func (*diary) Updated(*Update) {}
func (d *diary) Alert(a view.Alert, what alert.Change) {
	d.lines = append(d.lines, "told "+string(what))
}

func recorded(t *testing.T, fail error) []string {
	t.Helper()
	limit := 32.0
	plan := &rules.Plan{
		Sources: []rules.Source{{ID: "b/s", Channels: 1, StaleAfter: time.Minute, Calibrated: true}},
		Places:  []rules.Place{{ID: "p", Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{}}}}}},
		Rules:   []rules.Rule{{ID: "tight", Limit: &rules.Limit{Watch: "ankle.pressure", Above: &limit}, OnDelay: 50 * time.Millisecond, ForgetAfter: time.Hour, Priority: alert.Low}},
	}
	d := &diary{fail: fail}
	clock := hostclock.New(1)
	p := New(Options{Plan: plan, Clock: clock, Views: view.New(plan, nil, time.UTC), Recorder: d, Ord: 7})
	p.Follow(d)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { _ = p.Run(ctx); close(done) }()
	now := clock.Now()
	if err := p.Put(ctx, &sample.Scan{At: now, Arrived: now, Values: []float64{40}}); err != nil {
		t.Fatal(err)
	}
	var lines []string
	for deadline := time.Now().Add(5 * time.Second); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		if err := p.Do(ctx, func(*State) { lines = slices.Clone(d.lines) }); err != nil {
			t.Fatal(err)
		}
		if slices.Contains(lines, "told raised") {
			break
		}
	}
	if got := p.Load().Unkept; (got > 0) != (fail != nil) {
		t.Errorf("%d events unkept with the error %v", got, fail)
	}
	cancel()
	<-done
	return lines
}

// Inputs are kept in the order in which the engine has them, and nobody is told
// of an alert before it is kept.
func TestAlertsAreKeptBeforeTheyAreTold(t *testing.T) {
	want := []string{"8 scan [40]", "9 tick 0", "kept raised", "told raised"}
	if got := recorded(t, nil); !slices.Equal(got, want) {
		t.Errorf("happened %q, want %q", got, want)
	}
}

// A disk that is full does not silence an alert.
func TestAnAlertThatCannotBeKeptIsToldAllTheSame(t *testing.T) {
	if got := recorded(t, errors.New("disk full")); !slices.Contains(got, "told raised") {
		t.Errorf("happened %q, want it told", got)
	}
}

// A mark is kept in its order, and counts only if it was; who set it learns where it is.
func TestAMarkIsKeptOrDoesNotCount(t *testing.T) {
	for _, fail := range []error{nil, errors.New("disk full")} {
		d, j, clock := &diary{fail: fail}, &still{next: sample.Never}, hostclock.New(1)
		plan := wrapPlan(0)
		p := New(Options{Plan: plan, Clock: clock, Views: view.New(plan, nil, time.UTC), Recorder: d, Ord: 7, Judge: judgeOf(j)})
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { _ = p.Run(ctx); close(done) }()
		now := clock.Now()
		if err := p.Put(ctx, &sample.Scan{At: now, Arrived: now, Values: make([]float64, plan.Sources[0].Channels)}); err != nil {
			t.Fatal(err)
		}
		position, at, err := p.Mark(ctx, 0, Mark{Word: rules.MarkLying})
		cancel()
		<-done
		if fail != nil {
			if !errors.Is(err, ErrNotKept) || j.marks != 0 {
				t.Errorf("not kept: %v, and the judge has %d", err, j.marks)
			}
			continue
		}
		if err != nil || position != 3 || at < now || j.marks != 1 || !slices.Contains(d.lines, "9 kept a mark at 0: lying") {
			t.Errorf("at %d, %v, %v; the judge has %d; kept %q", position, at, err, j.marks, d.lines)
		}
	}
}

// What a person does that waits to be kept is done, and is answered so; what cannot be kept is not.
func TestWhatWaitsToBeKeptIsDone(t *testing.T) {
	out := errors.New("out of reach")
	for fail, done := range map[error]bool{fmt.Errorf("%w: %w", ErrWaits, out): true, out: false} {
		plan := &rules.Plan{
			Sources: []rules.Source{{ID: "b/s", Channels: 1, StaleAfter: time.Minute, Calibrated: true}},
			Places:  []rules.Place{{ID: "p", Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{}}}}}},
			Rules:   []rules.Rule{{ID: "tight", Limit: &rules.Limit{Watch: "ankle.pressure", Above: new(float64)}, ForgetAfter: time.Hour, Priority: alert.Low}},
		}
		d := &diary{fail: fail}
		p := New(Options{Plan: plan, Clock: hostclock.New(1), Views: view.New(plan, nil, time.UTC), Recorder: d, Ord: 7})
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() { _ = p.Run(ctx); close(ended) }()
		k := alert.Key{Place: "p", Rule: "tight", Subject: "ankle"}
		a, err := p.Act(ctx, k, Deed{Verb: alert.TakeOut, Who: "K-07", Why: "bench"})
		if !errors.Is(err, out) || errors.Is(err, ErrNotKept) == done || (a.State == string(alert.OutOfService)) != done {
			t.Errorf("%v: it is %q, and answered with %v", fail, a.State, err)
		}
		if _, at, err := p.Mark(ctx, 0, Mark{Word: "lying"}); !errors.Is(err, out) || errors.Is(err, ErrNotKept) == done || at == 0 {
			t.Errorf("%v: a mark is answered with %v", fail, err)
		}
		z := &record.Zeroing{Bridge: "b", Source: "s", Channels: []int{0}, Shown: []float64{3}, By: "K-07"}
		_ = p.do(ctx, func(*State) { err = p.zero(z) })
		if off, _ := p.TakenOff(ctx); !errors.Is(err, out) || errors.Is(err, ErrNotKept) == done || (len(off) == 1) != done {
			t.Errorf("%v: a zeroing is answered with %v, and takes off %v", fail, err, off)
		}
		want, ord := uint64(7), uint64(0)
		if done {
			want += 3
		}
		_ = p.do(ctx, func(*State) {
			ord = p.ord
			want += uint64(strings.Count(strings.Join(d.lines, ";"), " tick "))
		})
		if ord != want {
			t.Errorf("%v: it has come to input %d, and should have to %d: a snapshot must not be ahead of what is kept", fail, ord, want)
		}
		cancel()
		<-ended
	}
}

// A configuration that was refused may have taken ordinals: what comes after it comes after those.
func TestARefusedHandOverTakesItsOrdinals(t *testing.T) {
	plan := &rules.Plan{
		Sources: []rules.Source{{ID: "b/s", Channels: 1, StaleAfter: time.Minute, Calibrated: true}},
		Places:  []rules.Place{{ID: "p", Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{}}}}}},
	}
	d := &diary{}
	p := New(Options{Plan: plan, Clock: hostclock.New(1), Views: view.New(plan, nil, time.UTC), Recorder: d, Ord: 7})
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { _ = p.Run(ctx); close(ended) }()
	refused := errors.New("out of reach")
	if err := p.HandOver(ctx, func(uint64, int, func(int, []byte) []byte) (uint64, error) { return 2, refused }); !errors.Is(err, refused) {
		t.Error(err)
	}
	if _, _, err := p.Mark(ctx, 0, Mark{Word: "lying"}); err != nil {
		t.Error(err)
	}
	cancel()
	if <-ended; !slices.Equal(d.lines, []string{"10 kept a mark at 0: lying"}) {
		t.Errorf("happened %q", d.lines)
	}
}
