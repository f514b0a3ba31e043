package rules_test

import (
	"testing"
	"time"

	"weald/rules"
)

// What a silence makes true is raised at its instant, by a timer, although no scan comes
// any more: a formula that asks for the silence, and the mean of a site of two sources
// when the one that reads low falls silent.
func TestWhatASilenceMakesTrueIsRaised(t *testing.T) {
	for text, want := range map[string]string{
		"not known(ankle.pressure)":                          "3s raised bench-1~rule~limb",
		"not known(ankle.pressure) or ankle.pressure < 10":   "3s raised bench-1~rule~limb",
		"not known(ankle.pressure) and known(calf.pressure)": "",
		"not (ankle.pressure > 20)":                          "",
	} {
		s := newStory(t, leg(rules.Rule{Formula: text, OnDelay: 2 * time.Second}))
		s.scan(0, 0, 40, 30)
		for n := 0; s.Next() <= at(time.Minute); n++ {
			if s.Tick(s.Next()); n > 10 {
				t.Fatalf("%s: Next says %v again and again", text, s.Next())
			}
		}
		if want == "" {
			s.expect(t)
		} else {
			s.expect(t, want)
		}
	}
	r := above("ankle.pressure", 32, 500*time.Millisecond)
	s := newStory(t, wrapOfTwoSources(r))
	s.scan(0, 0, 40)
	s.scan(1, 0, 10)
	s.scan(0, 800*time.Millisecond, 40)
	s.scan(0, 1000*time.Millisecond, 40) // the other one is silent from here on, and this until 2 s
	s.Tick(at(1200 * time.Millisecond))
	for s.Next() <= at(time.Minute) {
		s.Tick(s.Next())
	}
	s.expect(t, "1.5s raised bench-1~tight~ankle", "2s unknown bench-1~tight~ankle")
}

// A member of a site that disagrees is dropped at its instant, and what that raises is
// told then, although a source of another site falls silent before it; where its own
// source does, nobody is asked for what will not be.
func TestASilenceElsewhereDelaysNoMember(t *testing.T) {
	for own, want := range map[time.Duration]string{time.Minute: "30s raised bench-1~tight~ankle", 20 * time.Second: ""} {
		plan := cluster(3, repeat(1, 3), above("ankle.pressure", 45, 0))
		plan.Sources[0].StaleAfter = own
		plan.Sources = append(plan.Sources, rules.Source{ID: "b/leg", Channels: 1, StaleAfter: time.Second, Calibrated: true})
		plan.Places[0].Sites = append(plan.Places[0].Sites, rules.Site{ID: "calf", Channels: []rules.Channel{{Source: 1}}})
		s := newStory(t, plan)
		s.scan(1, 0, 30)
		s.scan(0, 0, 50, 50, 20)
		s.sleep(t, 31*time.Second) // by then the readings last, or not
		if want == "" {
			s.expect(t)
			continue
		}
		s.expect(t, want)
	}
}
