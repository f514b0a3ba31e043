package rules_test

import (
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/relief"
)

// What a sitter is told follows the rule: the time runs while seated, a shift is seen
// from its first second, and it begins the time anew at the 15th.
func TestSitting(t *testing.T) {
	s := newStory(t, chair(seated(30*time.Minute)))
	now := func() rules.Sitting {
		t.Helper()
		x, ok := s.Sitting(0)
		if !ok {
			t.Fatal("it is no seat")
		}
		return x
	}
	if x := now(); x.Seated != sample.Maybe || x.Since != 0 {
		t.Errorf("before the first reading: %+v", x)
	}
	s.play(0, 10*time.Minute, 2, level(60, 55))
	if x := now(); x.Seated != sample.Yes || x.Interval != 30*time.Minute || x.Lasting != 0 || x.Since != 10*time.Minute-500*time.Millisecond {
		t.Errorf("after ten minutes: %+v", x)
	}
	s.play(10*time.Minute, 10*time.Minute+6*time.Second, 2, level(36, 55)) // 40 % off the left
	if x := now(); x.Lasting != 15*time.Second || x.Easing != 5500*time.Millisecond || x.Since < 10*time.Minute {
		t.Errorf("leaning for 6 s: %+v", x)
	}
	s.play(10*time.Minute+6*time.Second, 10*time.Minute+20*time.Second, 2, level(36, 55))
	if x := now(); x.Easing != x.Lasting || x.Since != 0 {
		t.Errorf("leaning for 20 s: %+v", x)
	}
	s.play(10*time.Minute+20*time.Second, 11*time.Minute, 2, level(60, 55))
	if x := now(); x.Lasting != 0 || x.Since < 39*time.Second || x.Since > 40*time.Second {
		t.Errorf("and seated for 40 s: %+v", x)
	}
	s.play(11*time.Minute, 13*time.Minute, 2, level(0, 0))
	if x := now(); x.Seated != sample.No || x.Lasting != 0 {
		t.Errorf("away: %+v", x)
	}
	if _, ok := newStory(t, leg(rules.Rule{Swing: &rules.Swing{Site: "ankle", Limit: rules.Limit{Above: new(float64)}}})).Sitting(0); ok {
		t.Error("a leg sits")
	}
}

// A seat on which nobody has sat relieves nobody.
func TestSittingOfNobody(t *testing.T) {
	s := newStory(t, chair(seated(30*time.Minute)))
	s.play(0, 20*time.Second, 2, level(0, 0.2))
	if x, _ := s.Sitting(0); x.Seated != sample.No || x.Lasting != 0 || x.Since != 0 {
		t.Errorf("%+v", x)
	}
	s.play(20*time.Second, 40*time.Second, 2, level(60, 55))
	if x, _ := s.Sitting(0); x.Seated != sample.Yes || x.Lasting != 0 || x.Since != 19500*time.Millisecond {
		t.Errorf("%+v", x)
	}
}

// Where only getting up counts, leaning is no relief under way, and being up is.
func TestSittingByWhatCounts(t *testing.T) {
	s := newStory(t, chair(seated(30*time.Minute, relief.Transfer)))
	s.play(0, 5*time.Minute, 2, level(60, 55))
	s.play(5*time.Minute, 5*time.Minute+30*time.Second, 2, level(20, 55))
	if x, _ := s.Sitting(0); x.Lasting != 0 || x.Since < 5*time.Minute {
		t.Errorf("leaning: %+v", x)
	}
	s.play(5*time.Minute+30*time.Second, 6*time.Minute, 2, level(0, 0))
	if x, _ := s.Sitting(0); x.Lasting != time.Minute || x.Easing != 29500*time.Millisecond {
		t.Errorf("up for half a minute: %+v", x)
	}
}

// Without a rule the bounds of the literature tell shifts, and no interval is made up.
func TestSittingWithoutARule(t *testing.T) {
	p := chair(seated(time.Minute))
	p.Rules = nil
	s := newStory(t, p)
	s.play(0, 5*time.Minute, 2, level(60, 55))
	if x, ok := s.Sitting(0); !ok || x.Interval != 0 || x.Seated != sample.Yes || x.Since < 4*time.Minute {
		t.Errorf("%t %+v", ok, x)
	}
}
