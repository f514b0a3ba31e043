package rules_test

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
)

// What a viewer is told is due is raised at that very instant if nothing else is heard
// and the values last, whatever kind of rule it is; and what is not due is not raised by
// a rule that only waits for its delay.
func TestWhatIsDueIsRaisedThen(t *testing.T) {
	kept := map[string]int{}
	fewUntil(t, 45, tried.Each(kept, 1, "cells", "peak", "c", "d"), func(t *rapid.T) {
		plan := wholePlan()
		for i := range plan.Sources {
			plan.Sources[i].StaleAfter = time.Hour
		}
		s, w := begun(plan), &feeder{}
		for range rapid.IntRange(5, 40).Draw(t, "scans") {
			w.step(t, s)
		}
		w.at += 200 * time.Millisecond // then nothing waits for anything
		s.Tick(at(w.at))
		promised := map[string]sample.Instant{}
		for place := range plan.Places {
			for _, p := range s.Progress(place, nil) {
				if !p.Raised {
					promised[p.ID()] = p.Due
				}
			}
		}
		s.lines = nil
		s.Tick(at(w.at + 50*time.Minute))
		raised := map[string]time.Duration{}
		for _, line := range s.lines {
			if f := strings.Fields(line); f[1] == "raised" && raised[f[2]] == 0 {
				raised[f[2]], _ = time.ParseDuration(f[0])
			}
		}
		for id, due := range promised {
			rule := strings.Split(id, "~")[1]
			got, did := raised[id]
			switch {
			case due == sample.Never && did && rule != "c" && rule != "d":
				t.Fatalf("%s is not due, and raised at %v", id, got)
			case due != sample.Never && (time.Duration(due)-got).Abs() > time.Microsecond: // a dose is a sum
				t.Fatalf("%s is due at %v, and raised at %v (%v)", id, time.Duration(due), got, did)
			case due != sample.Never:
				kept[rule]++
			}
		}
	})
}

// Whoever calls Tick when Next says is told of every change at most 250 ms after its
// instant, never before it, place by place in the order of time, and is asked for later
// and later instants: a loop that sleeps until Next makes progress.
func TestWhoeverSleepsUntilNextIsInTime(t *testing.T) {
	told := 0
	fewUntil(t, 40, tried.Count(&told, 100), func(t *rapid.T) {
		plan := wholePlan()
		e, sink := engineOf(plan)
		now, seen := sample.Instant(0), 0
		look := func() {
			for ; seen < len(sink.events); seen++ {
				if late := now.Sub(sink.events[seen].At); late < 0 || late > 250*time.Millisecond {
					t.Fatalf("at %v: told of %+v", now, sink.events[seen])
				}
			}
		}
		sleep := func(until sample.Instant) {
			for last := sample.Past; e.Next() <= until; {
				if now = max(now, e.Next()); now <= last {
					t.Fatalf("Next says %v once more", now)
				}
				last = now
				e.Tick(now)
				look()
			}
		}
		to := sample.Instant(0)
		for range rapid.IntRange(10, 50).Draw(t, "scans") {
			to = to.Add(ms(rapid.SampledFrom([]int{0, 70, 400, 900, 2600}).Draw(t, "later")))
			sleep(to)
			now = to
			source := rapid.IntRange(0, 3).Draw(t, "source")
			x := sample.Scan{Source: source, At: to, Arrived: to}
			for range plan.Sources[source].Channels {
				x.Values = append(x.Values, float64(rapid.SampledFrom([]int{0, 31, 34, 36, 40}).Draw(t, "v")))
			}
			e.Scan(&x)
			look()
		}
		sleep(to.Add(time.Hour))
		if e.Next() <= now || len(sink.late) > 0 {
			t.Fatalf("after an hour of silence Next says %v at %v; %d scans were late", e.Next(), now, len(sink.late))
		}
		newest := map[string]sample.Instant{}
		for _, ev := range sink.events {
			if ev.At < newest[ev.Place] {
				t.Fatalf("%+v is told after something of %v", ev, newest[ev.Place])
			}
			newest[ev.Place] = ev.At
		}
		told += len(sink.events)
	})
}
