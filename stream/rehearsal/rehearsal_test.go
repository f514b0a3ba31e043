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
	r, err := rehearsal.Run(t.Context(), plan(2), []rehearsal.Input{b, a}, rehearsal.Options{})
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
	r, err := rehearsal.Run(t.Context(), plan(1), in, rehearsal.Options{})
	if err != nil {
		t.Fatal(err)
	}
	expect(t, r, "5s raised bench-0")
	if r.Late != 1 {
		t.Errorf("%d late, want 1", r.Late)
	}
	if r, err = rehearsal.Run(t.Context(), plan(1), in, rehearsal.Options{ByEventTime: true}); err != nil {
		t.Fatal(err)
	}
	expect(t, r, "9s raised bench-0")
	if r.Late != 0 || r.Scans != 7 {
		t.Errorf("%d late of %d, want none of 7", r.Late, r.Scans)
	}
}

func TestSpan(t *testing.T) {
	in := []rehearsal.Input{tape(0, [2]float64{0, 40}, [2]float64{2, 40}, [2]float64{4, 40}, [2]float64{6, 40}, [2]float64{8, 40}, [2]float64{10, 40})}
	r, err := rehearsal.Run(t.Context(), plan(1), in, rehearsal.Options{From: sample.Instant(2 * time.Second), To: sample.Instant(8 * time.Second)})
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
	_, err := rehearsal.Run(t.Context(), plan(2), []rehearsal.Input{tape(0, [2]float64{0, 40}), bad}, rehearsal.Options{})
	if !errors.Is(err, broken) {
		t.Errorf("error %v, want %v", err, broken)
	}
}
