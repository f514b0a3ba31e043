package rehearsal_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/rehearsal"
)

// tape plays scans of one value; like a decoder it uses one Scan over again.
func tape(source int, scans ...[2]float64) rehearsal.Input {
	return func(ctx context.Context, out func(*sample.Scan)) error {
		var s sample.Scan
		arrived := sample.Past
		for _, v := range scans {
			at := sample.Instant(v[0] * 1e9)
			arrived = max(arrived, at)
			s = sample.Scan{Source: source, At: at, Arrived: arrived, Values: []float64{v[1]}}
			out(&s)
			s.Values[0] = -1
			if ctx.Err() != nil {
				return ctx.Err()
			}
		}
		return nil
	}
}

func plan(sources int) *rules.Plan {
	limit := 32.0
	p := &rules.Plan{Rules: []rules.Rule{{
		ID: "tight", Limit: &rules.Limit{Watch: "ankle.pressure", Above: &limit},
		OnDelay: 5 * time.Second, ForgetAfter: time.Minute, Priority: alert.Low,
	}}}
	for i := range sources {
		p.Sources = append(p.Sources, rules.Source{ID: fmt.Sprint("b/", i), Channels: 1, StaleAfter: 3 * time.Second, Calibrated: true})
		p.Places = append(p.Places, rules.Place{ID: fmt.Sprint("bench-", i), Kind: rules.Wrap, Sites: []rules.Site{
			{ID: "ankle", Channels: []rules.Channel{{Source: i}}},
		}})
	}
	return p
}

// run judges by one plan.
func run(t *testing.T, p *rules.Plan, inputs []rehearsal.Input, o rehearsal.Options) (*rehearsal.Result, error) {
	results, err := rehearsal.Run(t.Context(), []*rules.Plan{p}, inputs, o)
	if err != nil {
		return nil, err
	}
	return results[0], nil
}

func happened(r *rehearsal.Result) (out []string) {
	for _, e := range r.Events {
		out = append(out, fmt.Sprintf("%v %s %s", time.Duration(e.At), e.What, e.Place))
	}
	return out
}

func expect(t *testing.T, r *rehearsal.Result, want ...string) {
	t.Helper()
	if got := fmt.Sprint(happened(r)); got != fmt.Sprint(want) {
		t.Errorf("happened %v, want %v", got, want)
	}
}

func TestInputsAreMergedByArrival(t *testing.T) {
	a := tape(0, [2]float64{0, 40}, [2]float64{2, 40}, [2]float64{4, 40}, [2]float64{6, 0})
	b := tape(1, [2]float64{1, 40}, [2]float64{3, 40}, [2]float64{5, 40}, [2]float64{7, 0})
	r, err := run(t, plan(2), []rehearsal.Input{b, a}, rehearsal.Options{})
	if err != nil {
		t.Fatal(err)
	}
	expect(t, r, "5s raised bench-0", "6s cleared bench-0", "6s raised bench-1", "7s cleared bench-1")
	if r.Scans != 8 || r.From != 0 || r.To != sample.Instant(7*time.Second) || r.Figures.Raised != 2 {
		t.Errorf("%d scans from %v to %v, %+v", r.Scans, r.From, r.To, r.Figures)
	}
}

// A late scan is not judged as it arrives; put in its place it shows that the
// load was interrupted.
func TestByEventTime(t *testing.T) {
	in := []rehearsal.Input{tape(0, [2]float64{0, 40}, [2]float64{2, 40}, [2]float64{4, 40}, [2]float64{3, 10}, [2]float64{6, 40}, [2]float64{8, 40}, [2]float64{10, 40})}
	r, err := run(t, plan(1), in, rehearsal.Options{})
	if err != nil {
		t.Fatal(err)
	}
	expect(t, r, "5s raised bench-0")
	if r.Late != 1 {
		t.Errorf("%d late, want 1", r.Late)
	}
	if r, err = run(t, plan(1), in, rehearsal.Options{ByEventTime: true}); err != nil {
		t.Fatal(err)
	}
	expect(t, r, "9s raised bench-0")
	if r.Late != 0 || r.Scans != 7 {
		t.Errorf("%d late of %d, want none of 7", r.Late, r.Scans)
	}
}

func TestSpan(t *testing.T) {
	in := []rehearsal.Input{tape(0, [2]float64{0, 40}, [2]float64{2, 40}, [2]float64{4, 40}, [2]float64{6, 40}, [2]float64{8, 40}, [2]float64{10, 40})}
	r, err := run(t, plan(1), in, rehearsal.Options{From: sample.Instant(2 * time.Second), To: sample.Instant(8 * time.Second)})
	if err != nil {
		t.Fatal(err)
	}
	expect(t, r) // 2 s to 6 s is not 5 s
	if r.Scans != 3 {
		t.Errorf("%d scans, want 3", r.Scans)
	}
}

func TestErrorsOfAnInputAreReturned(t *testing.T) {
	broken := errors.New("torn")
	bad := func(ctx context.Context, out func(*sample.Scan)) error {
		out(&sample.Scan{Source: 1, Values: []float64{1}})
		return broken
	}
	_, err := run(t, plan(2), []rehearsal.Input{tape(0, [2]float64{0, 40}), bad}, rehearsal.Options{})
	if !errors.Is(err, broken) {
		t.Errorf("error %v, want %v", err, broken)
	}
}

// Two rule sets find in one pass what each finds by itself, and what is read is read
// once. With the shorter delay an alert is due before a reading arrives, which is
// late for it and not for the other: each has a timer of its own.
func TestTwoPlansInOnePass(t *testing.T) {
	passes := 0
	in := func(_ context.Context, out func(*sample.Scan)) error {
		passes++
		for _, v := range [][3]float64{{0, 0, 40}, {2, 2, 40}, {4, 4, 40}, {4.9, 5.6, 10}, {6, 6, 40}, {8, 8, 40}, {10, 10, 40}, {11, 11, 40}, {12, 12, 40}, {14, 14, 10}} {
			out(&sample.Scan{At: sample.Instant(v[0] * 1e9), Arrived: sample.Instant(v[1] * 1e9), Values: []float64{v[2]}})
		}
		return nil
	}
	patient := plan(1)
	patient.Rules[0].OnDelay = 7 * time.Second
	plans := []*rules.Plan{plan(1), patient}
	both, err := rehearsal.Run(t.Context(), plans, []rehearsal.Input{in}, rehearsal.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if passes != 1 {
		t.Errorf("it was read %d times for two rule sets", passes)
	}
	expect(t, both[0], "5s raised bench-0", "14s cleared bench-0")
	expect(t, both[1], "13s raised bench-0", "14s cleared bench-0")
	if both[0].Late != 1 || both[1].Late != 0 {
		t.Errorf("%d and %d late, want 1 and none", both[0].Late, both[1].Late)
	}
	for i, p := range plans {
		alone, err := run(t, p, []rehearsal.Input{in}, rehearsal.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if got, want := fmt.Sprintf("%+v", both[i]), fmt.Sprintf("%+v", alone); got != want { // NaN is not equal to itself
			t.Errorf("rule set %d finds %s, alone %s", i, got, want)
		}
	}
}
