package rules_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
)

// The map of durations says of every cell for how long it has been loaded since its last
// relief: loaded is above the pressure that is set, a relief is an unbroken time at or
// below it that is as long as is set, and of what is unknown nothing counts, unless it is
// for the ten minutes after which all is forgotten. It is counted here in tenths of a
// second. A lean plan has no such map.
func TestHowLongCellsAreLoaded(t *testing.T) {
	most := time.Duration(0)
	fewUntil(t, 25, tried.Count(&most, 10*time.Second), func(t *rapid.T) {
		plan := bed(1, 4)
		m := plan.Places[0].Mat
		resets := rapid.IntRange(0, 40).Draw(t, "resets")
		m.LoadedAbove, m.LoadedResets = 30, time.Duration(resets)*100*time.Millisecond
		lean := *plan
		lean.Lean = true
		s, other := begun(plan), begun(&lean)
		if got, ok := s.Cells(0, nil); !ok || got.At != sample.Past || len(got.Values) != 4 || !math.IsNaN(got.Values[3]) {
			t.Fatalf("before the first scan: %+v", got)
		}
		held, released, silent := make([]int, 4), make([]int, 4), make([]int, 4)
		values, until, now := repeat(math.NaN(), 4), 0, 0
		var buffer []time.Duration
		for range rapid.IntRange(5, 40).Draw(t, "scans") {
			step := rapid.SampledFrom([]int{1, 5, 10, 29, 30, 31, 7000}).Draw(t, "step")
			for range step {
				for i, v := range values {
					switch {
					case v != v || now >= until:
						if silent[i]++; silent[i] >= 6000 {
							held[i], released[i] = 0, 0
						}
					case v > 30:
						held[i], released[i], silent[i] = held[i]+1, 0, 0
					default:
						if silent[i] = 0; held[i] > 0 {
							released[i]++
						}
						if released[i] >= resets {
							held[i], released[i] = 0, 0
						}
					}
				}
				now++
			}
			for i := range values {
				values[i] = rapid.SampledFrom([]float64{40, 31, 30, 0, math.NaN()}).Draw(t, "v")
			}
			until = now + 30
			s.scan(0, time.Duration(now)*100*time.Millisecond, values...)
			other.scan(0, time.Duration(now)*100*time.Millisecond, values...)
			got, ok := s.Cells(0, buffer)
			buffer = got.Loaded
			if !ok || got.Rows != 1 || got.Columns != 4 || time.Duration(got.At) != time.Duration(now)*100*time.Millisecond {
				t.Fatalf("the mat is %+v", got)
			}
			for i := range held {
				if want := time.Duration(held[i]) * 100 * time.Millisecond; got.Loaded[i] != want || !(got.Values[i] == values[i] || got.Values[i] != got.Values[i] && values[i] != values[i]) {
					t.Fatalf("at %d: cell %d reads %v and is loaded for %v, want %v and %v", now, i, got.Values[i], got.Loaded[i], values[i], want)
				}
				most = max(most, got.Loaded[i])
			}
			if got, _ := other.Cells(0, nil); len(got.Loaded) > 0 || len(got.Values) != 4 {
				t.Fatalf("a lean plan has %+v", got)
			}
		}
	})
}

// What is asked of an engine beside what it tells: how many places there are, which of
// their signals are measured rather than made of others, and that only a bed with a mat
// has cells.
func TestWhatAnEngineIsAsked(t *testing.T) {
	plan := everyKind()
	s := newStory(t, plan)
	if s.Places() != len(plan.Places) {
		t.Errorf("%d places of %d", s.Places(), len(plan.Places))
	}
	for place := range plan.Places {
		p := &plan.Places[place]
		for i, sig := range s.Signals(place) {
			if measured := i < s.Measured(place); measured != rules.IsMeasured(sig.Name) {
				t.Errorf("%s of %s is measured: %t", sig.Name, p.ID, measured)
			}
			if sig.Value == sig.Value && sig.Unit != "1" || sig.At != sample.Past || sig.Known != 0 {
				t.Errorf("before anything was heard %s is %+v", sig.Name, sig)
			}
		}
		if _, has := s.Cells(place, nil); has != (p.Mat != nil) {
			t.Errorf("%s has cells: %t", p.ID, has)
		}
		for _, name := range p.Watchable() {
			r := above(name, 1, 0)
			if !r.Judges(p) {
				t.Errorf("%s can be watched at %s, and is not found there", name, p.ID)
			}
		}
		for source := range plan.Sources {
			uses := p.Mat != nil && p.Mat.Source == source
			for _, site := range p.Sites {
				uses = uses || slices.ContainsFunc(site.Channels, func(c rules.Channel) bool { return c.Source == source })
			}
			if p.Uses(source) != uses {
				t.Errorf("%s uses source %d: %t", p.ID, source, !uses)
			}
		}
	}
}
