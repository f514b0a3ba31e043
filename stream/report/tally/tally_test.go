package tally_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/report/tally"
)

const stale = 3 * time.Second

func plan() *rules.Plan {
	return &rules.Plan{
		Sources: []rules.Source{{ID: "trolley/leg", Channels: 2, StaleAfter: stale, Calibrated: true, U: []float64{1.8, math.NaN()}}},
		Places: []rules.Place{{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{
			{ID: "ankle", Channels: []rules.Channel{{Index: 0}}}, {ID: "calf", Channels: []rules.Channel{{Index: 1}}}}}},
	}
}

type reading struct {
	at     time.Duration
	values []float64
}

// follow has readings told from 0 to an end.
func follow(all []reading, end time.Duration, take func(*tally.Follower) func(*tally.Piece)) {
	f := &tally.Follower{To: sample.Instant(end)}
	engine := rules.NewEngine(plan(), f)
	f.Of(engine)
	f.Each = take(f)
	for _, r := range all {
		engine.Scan(&sample.Scan{At: sample.Instant(r.at), Arrived: sample.Instant(r.at), Values: r.values})
	}
	engine.Finish()
	f.Finish()
}

// What is added up is what a count of milliseconds comes to: at each, the value of the
// last reading, if that is not older than a reading lasts.
func TestAgainstMilliseconds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var all []reading
		at := time.Duration(0)
		for range rapid.IntRange(0, 25).Draw(t, "readings") {
			at += time.Duration(rapid.SampledFrom([]int{1, 90, 182, 500, 1000, 2999, 3000, 3001, 7000}).Draw(t, "ms")) * time.Millisecond
			v := rapid.SampledFrom([]float64{0, 20, 34, 35, 45, 46, 61.5, math.NaN()}).Draw(t, "mmHg")
			all = append(all, reading{at, []float64{v, 20}})
		}
		end := at + time.Duration(rapid.IntRange(0, 5000).Draw(t, "more"))*time.Millisecond + time.Second
		band := [2]float64{35, 45}
		mean, course := tally.Mean{Band: &band}, tally.NewCourse(0, sample.Instant(end), 7)
		var told time.Duration
		follow(all, end, func(f *tally.Follower) func(*tally.Piece) {
			ankle := f.Follow("ankle.pressure")
			if f.Follow("soul.pressure") != -1 {
				t.Fatal("there is a soul")
			}
			return func(p *tally.Piece) {
				if p.From != sample.Instant(told) || p.To <= p.From {
					t.Fatalf("after %v comes a piece from %v to %v", told, p.From, p.To)
				}
				told = time.Duration(p.To)
				mean.Add(p.Values[ankle], p.Span())
				course.Add(p.Values[ankle], p.From, p.To)
			}
		})
		if told != end {
			t.Fatalf("it was told up to %v of %v", told, end)
		}
		sum, known, low, high, below, in, above := 0.0, 0, math.Inf(1), math.Inf(-1), 0, 0, 0
		steps := make([]float64, len(course.Steps)) // mmHg ms
		next := 0
		v := math.NaN()
		until := time.Duration(0)
		for ms := range int(end / time.Millisecond) {
			now := time.Duration(ms) * time.Millisecond
			for next < len(all) && all[next].at <= now {
				v, until = all[next].values[0], all[next].at+stale
				next++
			}
			if math.IsNaN(v) || now >= until {
				continue
			}
			known++
			sum += v
			low, high = min(low, v), max(high, v)
			steps[now/course.Step()] += v
			switch {
			case v < band[0]:
				below++
			case v > band[1]:
				above++
			default:
				in++
			}
		}
		ms := func(d time.Duration) int { return int(d / time.Millisecond) }
		if got, want := [4]int{ms(mean.Known), ms(mean.Below), ms(mean.In), ms(mean.Above)}, [4]int{known, below, in, above}; got != want {
			t.Fatalf("known, below, in and above the band for %v ms, counted it is %v", got, want)
		}
		if known == 0 {
			if mean.Mean() == mean.Mean() || mean.Low() == mean.Low() || mean.Dose() == mean.Dose() || mean.U() == mean.U() {
				t.Fatalf("of nothing it is %v, %v, %v, %v", mean.Mean(), mean.Low(), mean.Dose(), mean.U())
			}
			return
		}
		near := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-9*max(1, math.Abs(want)) {
				t.Fatalf("%s is %v, counted it is %v", what, got, want)
			}
		}
		near("the mean", mean.Mean(), sum/float64(known))
		near("the dose", mean.Dose(), sum/3.6e6)
		near("the least", mean.Low(), low)
		near("the greatest", mean.High(), high)
		near("the uncertainty", mean.U(), 1.8)
		for i := range steps {
			if s := &course.Steps[i]; s.Known > 0 {
				near("a step", s.Mean()*s.Known.Seconds()*1000, steps[i])
			} else if steps[i] != 0 {
				t.Fatalf("step %d has nothing, counted it has %v", i, steps[i])
			}
		}
	})
}

// Runs join what is alike, and the states add up to the whole.
func TestRuns(t *testing.T) {
	var r tally.Runs
	for i, s := range []tally.State{tally.Yes, tally.Yes, tally.Unknown, tally.No, tally.Yes} {
		r.Add(s, sample.Instant(i)*sample.Instant(time.Second), sample.Instant(i+1)*sample.Instant(time.Second))
	}
	if len(r) != 4 || r.In(tally.Yes) != 3*time.Second || r.In(tally.Unknown) != time.Second || r.In(tally.No) != time.Second {
		t.Errorf("%v", r)
	}
	if s := tally.StateOf(tally.Value{V: math.NaN()}); s != tally.Unknown {
		t.Errorf("what is not known is %v", s)
	}
}

// A counter that fell has begun anew, and a hole counts nothing.
func TestCounter(t *testing.T) {
	var c tally.Counter
	grown := 0
	for _, v := range []float64{0, 0, 2, math.NaN(), 3, 1, 1, 4} {
		grown += c.Add(tally.Value{V: v})
	}
	if grown != 6 {
		t.Errorf("it has grown by %d, want 2 + 1 + 3", grown)
	}
}
