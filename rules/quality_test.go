package rules_test

import (
	"math"
	"testing"
	"time"

	"weald/rules"
	"weald/rules/alert"
)

func faulty(of ...rules.Fault) rules.Rule {
	q := &rules.Quality{Of: of, Unchanged: 20 * time.Second, Share: 0.25, Loss: 0.1, Clock: 2 * time.Second, Battery: 15}
	return rules.Rule{ID: "sensor", Quality: q, OnDelay: 5 * time.Second, ForgetAfter: time.Minute, Priority: alert.Low}
}

// A member that disagrees is dropped after 30 s of it; the rule's own delay
// follows, and the alert names the channel.
func TestQualityOfAMemberThatDisagrees(t *testing.T) {
	s := newStory(t, cluster(3, repeat(2, 3), faulty(rules.Disagrees)))
	for i := range 60 {
		s.scan(0, time.Duration(i)*time.Second, 40, 80, 41)
	}
	s.expect(t, "35s raised bench-1~sensor~ankle")
	s.says(t, "ankle with a faulty channel for 5 s: a/leg/1 disagrees with the others and is left out when raised")
	for i := 60; i < 130; i++ {
		s.scan(0, time.Duration(i)*time.Second, 40, 41, 41)
	}
	s.expect(t, "2m0s cleared bench-1~sensor~ankle")
}

// Silence is no unknown here: it is what is asked for, and it is noticed without
// any reading.
func TestQualityOfASilentSource(t *testing.T) {
	s := newStory(t, cluster(3, nil, faulty(rules.Silent)))
	s.scan(0, 0, 40, 41, 41)
	for range 20 {
		s.Tick(s.Next())
	}
	s.expect(t, "8s raised bench-1~sensor~ankle") // silent from 3 s on
	s.scan(0, 20*time.Second, 40, 41, 41)
	s.expect(t, "20s cleared bench-1~sensor~ankle")
}

func TestQualityOfAMissingValue(t *testing.T) {
	s := newStory(t, cluster(3, nil, faulty(rules.Missing)))
	for i := range 10 {
		s.scan(0, time.Duration(i)*time.Second, 40, math.NaN(), 41)
	}
	s.expect(t, "5s raised bench-1~sensor~ankle")
	s.says(t, "a/leg/1 has no value")
	other := newStory(t, cluster(3, nil, faulty(rules.Silent, rules.Disagrees)))
	for i := range 100 {
		other.scan(0, time.Duration(i)*time.Second, 40, math.NaN(), 41)
	}
	other.expect(t)
}
