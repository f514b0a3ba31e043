package pipeline

import (
	"context"
	"math"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
	"weald/stream/hostclock"
)

func TestRawReadingsAreKeptWhileSomebodyAsks(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := hostclock.New(1)
		p := start(t, wrapPlan(time.Minute), Options{Clock: clock})
		put := func(stored bool, raw ...float64) sample.Instant {
			at := clock.Now()
			if err := p.Put(context.Background(), &sample.Scan{At: at, Stored: stored, Values: []float64{1, 2}, Raw: raw}); err != nil {
				t.Fatal(err)
			}
			return at
		}
		expect := func(what string, wantAt sample.Instant, want ...float64) {
			t.Helper()
			if raw, at := p.Raw(0, nil); at != wantAt || !slices.Equal(raw, want) {
				t.Errorf("%s: %v at %v, want %v at %v", what, raw, at, want, wantAt)
			}
		}
		put(false, 100, 200)
		expect("nobody had asked before", sample.Past)
		put(true, 1, 1)
		expect("a stored scan is not the present", sample.Past)
		at := put(false, 101, 201)
		expect("after the first scan that was asked for", at, 101, 201)
		time.Sleep(rawFor - time.Millisecond)
		at = put(false, 102, 202)
		expect("asked for all the time", at, 102, 202)
		time.Sleep(rawFor + time.Millisecond)
		put(false, 103, 203)
		expect("nobody had asked for long, so what was kept is old", sample.Past)
	})
}

// What nobody looks at costs a comparison.
func TestRawReadingsCostNothingUnasked(t *testing.T) {
	l := newLatest(1, hostclock.New(1))
	scan := sample.Scan{Raw: make([]float64, 2048), Values: []float64{math.NaN()}}
	if n := testing.AllocsPerRun(100, func() { l.put(&scan) }); n != 0 || l.sources[0].raw != nil {
		t.Errorf("%v allocations, %d readings kept", n, len(l.sources[0].raw))
	}
}
