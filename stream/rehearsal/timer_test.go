package rehearsal_test

import (
	"context"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/rehearsal"
)

// A live run raises at 3 s, by timer, before it hears at 3.3 s of a reading of
// 2.9 s that would have come in between. The rehearsal does the same.
func TestAReadingThatCameAfterAnAlertWasDueIsLateInRehearsalToo(t *testing.T) {
	const ms = time.Millisecond
	type scan struct {
		at, arrived time.Duration
		v           float64
	}
	scans := []scan{{2900 * ms, 3300 * ms, 10}, {3500 * ms, 3500 * ms, 10}}
	for i := range 6 {
		at := time.Duration(5-i) * 500 * ms
		scans = append([]scan{{at, at, 40}}, scans...)
	}
	in := func(_ context.Context, out func(*sample.Scan)) error {
		for _, s := range scans {
			out(&sample.Scan{At: sample.Instant(s.at), Arrived: sample.Instant(s.arrived), Values: []float64{s.v}})
		}
		return nil
	}
	p := plan(1)
	p.Rules[0].OnDelay = 3 * time.Second
	r, err := run(t, p, []rehearsal.Input{in}, rehearsal.Options{})
	if err != nil {
		t.Fatal(err)
	}
	expect(t, r, "3s raised bench-0", "3.5s cleared bench-0")
	if r.Late != 1 {
		t.Errorf("%d late, want 1", r.Late)
	}
	if r, err = run(t, p, []rehearsal.Input{in}, rehearsal.Options{ByEventTime: true}); err != nil {
		t.Fatal(err)
	}
	expect(t, r) // in its place, the reading ends the load after 2.9 s
}

// Of two sources, one is silent for longer than the other can wait. What waited
// long enough before a scan arrived is judged before it, with or without a tick.
func TestWaitingScansAreJudgedBeforeWhatArrivesLater(t *testing.T) {
	const ms = time.Millisecond
	p := plan(2)
	p.Places = []rules.Place{{ID: "bench-0", Kind: rules.Wrap, Sites: []rules.Site{
		{ID: "ankle", Channels: []rules.Channel{{Source: 0}}}, {ID: "calf", Channels: []rules.Channel{{Source: 1}}},
	}}}
	p.Rules[0].OnDelay = 0
	in := func(_ context.Context, out func(*sample.Scan)) error {
		out(&sample.Scan{Source: 1, At: 0, Arrived: 0, Values: []float64{5}})
		out(&sample.Scan{Source: 0, At: sample.Instant(400 * ms), Arrived: sample.Instant(400 * ms), Values: []float64{40}})
		// 300 ms older, and 250 ms too late to be waited for.
		out(&sample.Scan{Source: 0, At: sample.Instant(100 * ms), Arrived: sample.Instant(650 * ms), Values: []float64{10}})
		out(&sample.Scan{Source: 0, At: sample.Instant(950 * ms), Arrived: sample.Instant(950 * ms), Values: []float64{10}})
		out(&sample.Scan{Source: 1, At: sample.Instant(950 * ms), Arrived: sample.Instant(950 * ms), Values: []float64{5}})
		return nil
	}
	r, err := run(t, p, []rehearsal.Input{in}, rehearsal.Options{})
	if err != nil {
		t.Fatal(err)
	}
	expect(t, r, "400ms raised bench-0", "950ms cleared bench-0")
	if r.Late != 1 {
		t.Errorf("%d late, want 1", r.Late)
	}
}
