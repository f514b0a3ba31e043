package rules_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
	"weald/rules/alert"
)

var back = alert.Key{Place: "bed-4", Rule: "tight", Subject: "back"}

func (s *story) act(t testing.TB, at time.Duration, verb alert.Verb, until time.Duration) {
	t.Helper()
	a := alert.Action{Verb: verb, At: sample.Instant(at), Who: "K-07", Why: "bath", Until: sample.Instant(until)}
	if err := s.Permits(0, back, a); err != nil {
		t.Fatalf("%s at %v would be %v", verb, at, err)
	}
	if err := s.Act(0, back, a); err != nil {
		t.Fatalf("%s at %v: %v", verb, at, err)
	}
}

// What time alone does to an alert is told by tick, at its exact instant, whether
// or not anything is measured.
func TestTimersOfALifeAreTheEngines(t *testing.T) {
	plan := bed(1, 2, above("mat.pressure", 32, 0))
	plan.Rules[0].EscalateAfter = time.Minute
	s := newStory(t, plan)
	s.scan(0, 0, 40, 0)
	s.Tick(sample.Instant(10 * time.Second))
	s.expect(t, "0s raised bed-4~tight~back", "3s unknown bed-4~tight~back")
	if got, want := s.Next(), sample.Instant(60200*time.Millisecond); got != want {
		t.Errorf("Next() = %v, want %v: 200 ms after the minute", got, want)
	}
	s.Tick(s.Next())
	s.act(t, 70*time.Second, alert.Shelve, 100*time.Second)
	s.Tick(s.Next())
	s.Tick(sample.Instant(time.Hour))
	s.expect(t, "1m0s escalated bed-4~tight~back", "1m10s shelved bed-4~tight~back", "1m40s shelf-ended bed-4~tight~back",
		"2m40s escalated bed-4~tight~back", "3m40s escalated bed-4~tight~back")
	if s.Next() != sample.Never {
		t.Errorf("Next() = %v after the last tier", s.Next())
	}
}

// The sentences say who, why, and for how long.
func TestSentencesOfALife(t *testing.T) {
	plan := bed(1, 2, above("mat.pressure", 32, 0))
	plan.Rules[0].EscalateAfter = time.Minute
	s := newStory(t, plan)
	s.scan(0, 0, 40, 0)
	s.scan(0, 61*time.Second, 40, 0)
	s.act(t, 90*time.Second, alert.Acknowledge, 0)
	s.act(t, 100*time.Second, alert.Shelve, 100*time.Second+20*time.Minute)
	s.act(t, 110*time.Second, alert.Unshelve, 0)
	s.act(t, 120*time.Second, alert.TakeOut, 0)
	s.act(t, 130*time.Second, alert.TakeBack, 0)
	want := []string{
		"not acknowledged for 1 min since it was raised: now the call of tier 2",
		"acknowledged by K-07, 1 min 30 s after it was raised: bath",
		"shelved by K-07 for 20 min: bath",
		"no longer shelved, by K-07, and acknowledged: bath",
		"taken out of service by K-07: bath",
		"back in service, by K-07, and acknowledged: bath",
	}
	var got []string
	for i, line := range s.lines {
		if !slices.Contains([]string{"raised", "unknown", "known"}, strings.Fields(line)[1]) {
			got = append(got, s.texts[i])
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("it says %q\nwant %q", got, want)
	}
}

// People may put an alert aside before anything has been heard of its place, and
// a recording that begins in the past is judged all the same.
func TestAShelfOfAPlaceThatWasNeverHeard(t *testing.T) {
	s := newStory(t, bed(1, 2, above("mat.pressure", 32, 0)))
	s.act(t, time.Hour, alert.Shelve, 2*time.Hour)
	s.Tick(sample.Instant(2*time.Hour + time.Second))
	s.scan(0, 0, 40, 0)
	s.expect(t, "1h0m0s shelved bed-4~tight~back", "2h0m0s shelf-ended bed-4~tight~back", "0s raised bed-4~tight~back")
	if s.late != 0 {
		t.Error("the first scan was late")
	}
}

func TestActionsOnWhatIsNotThere(t *testing.T) {
	s := newStory(t, bed(1, 2, above("mat.pressure", 32, 0)))
	a := alert.Action{Verb: alert.Acknowledge, At: 1, Who: "K-07"}
	for _, k := range []alert.Key{{Place: "bed-4", Rule: "tight", Subject: "nose"}, {Place: "bed-5", Rule: "tight", Subject: "back"}} {
		if err := s.Act(0, k, a); !errors.Is(err, rules.ErrNoAlert) {
			t.Errorf("%v: %v", k, err)
		}
	}
	if err := s.Act(0, back, a); !errors.Is(err, alert.ErrRefused) {
		t.Errorf("what is not raised was acknowledged: %v", err)
	}
	s.expect(t)
}

// However people act, an engine that takes up a snapshot goes on as the one that
// made it, and one that is given the same again tells the same.
func TestSnapshotWithLives(t *testing.T) {
	acted := 0
	tried.Check(t, tried.Count(&acted, 50), func(t *rapid.T) {
		plan := snapshotPlan()
		for i := range plan.Rules {
			plan.Rules[i].Latched = i == 0
			plan.Rules[i].EscalateAfter = time.Duration(i) * 5 * time.Second
		}
		straight := &story{}
		straight.Engine = rules.NewEngine(plan, straight)
		others := []*story{straight}
		at := time.Duration(0)
		keys := []alert.Key{{Place: "bed-4", Rule: "cells", Subject: "back"}, {Place: "bed-4", Rule: "peak", Subject: "heels"}, {Place: "bed-4", Rule: "site", Subject: "ankle"}}
		for range rapid.IntRange(1, 60).Draw(t, "inputs") {
			step(t, &at, others...)
			switch rapid.IntRange(0, 4).Draw(t, "and") {
			case 0, 1:
				k := rapid.SampledFrom(keys).Draw(t, "key")
				a := alert.Action{
					Verb: rapid.SampledFrom(alert.Verbs()).Draw(t, "verb"), At: sample.Instant(at), Who: "K-07", Why: "bath",
					Until: sample.Instant(at + time.Duration(rapid.IntRange(0, 20).Draw(t, "s"))*time.Second),
				}
				first := straight.Act(0, k, a)
				for _, s := range others[1:] {
					if err := s.Act(0, k, a); (err == nil) != (first == nil) {
						t.Fatalf("%v, then %v", first, err)
					}
				}
				if first == nil {
					acted++
				}
			case 2:
				restored := &story{}
				restored.Engine = rules.NewEngine(plan, restored)
				if err := restored.RestorePlace(0, straight.SnapshotPlace(0, nil)); err != nil {
					t.Fatal(err)
				}
				restored.lines, restored.texts = slices.Clone(straight.lines), slices.Clone(straight.texts)
				others = append(others, restored)
			}
		}
		for _, s := range others {
			s.Finish()
		}
		for _, s := range others[1:] {
			if !slices.Equal(s.lines, straight.lines) || !slices.Equal(s.texts, straight.texts) {
				t.Fatalf("restored:\n%q\nstraight:\n%q", s.lines, straight.lines)
			}
		}
	})
}

// A rule that is changed judges anew: its alert is over, which is told, and what
// a person has put aside stays so.
func TestTheAlertOfAChangedRuleIsOver(t *testing.T) {
	first := newStory(t, bed(1, 2, above("mat.pressure", 32, 0)))
	first.scan(0, 0, 40, 0)
	first.act(t, time.Second, alert.TakeOut, 0)
	second := newStory(t, bed(1, 2, above("mat.pressure", 50, 0)))
	if err := second.RestorePlace(0, first.SnapshotPlace(0, nil)); err != nil {
		t.Fatal(err)
	}
	second.scan(0, 2*time.Second, 40, 0)
	second.expect(t, "0s cleared bed-4~tight~back")
	if got := second.Standing(0, nil); len(got) != 1 || got[0].State != alert.OutOfService || got[0].Raised {
		t.Errorf("%+v, want it out of service and not raised", got)
	}
}
