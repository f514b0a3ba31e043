package rules_test

import (
	"math"
	"testing"
	"time"

	"weald/rules"
)

// What a person says of how a limb rests counts where nothing can be recognised: in a
// wrap that gives way, standing up raises the pressure by 2 mmHg, which is no step, but
// is the stiffness where somebody has said "lying" and "standing". It survives a restart,
// and it counts from the next scan on.
func TestMarksMakeAStiffness(t *testing.T) {
	plan := leg(rules.Rule{Limit: &rules.Limit{Watch: "ankle.stiffness", Below: ptr(5)}, OnDelay: time.Second})
	for _, marked := range []bool{false, true} {
		s := newStory(t, plan)
		mark := func(word string, now time.Duration) {
			if marked {
				s.Mark(0, word, at(now))
			}
		}
		s.play(0, 10*time.Second, 10, level(40, 28))
		mark(rules.MarkLying, 10*time.Second)
		s.play(10*time.Second, 20*time.Second, 10, level(40, 28))
		if marked {
			next, err := s.restarted()
			if err != nil {
				t.Fatal(err)
			}
			s = next
		}
		s.play(20*time.Second, 22*time.Second, 10, level(60, 40)) // the movement
		mark(rules.MarkStanding, 22*time.Second)
		s.play(22*time.Second, 40*time.Second, 10, level(42, 29))
		standing, stiffness := s.signal(t, "standing").Value, s.signal(t, "ankle.stiffness").Value
		if marked && (standing != 1 || math.Abs(stiffness-2) > 1e-9) {
			t.Errorf("with marks: standing %v, stiffness %v, want 1 and 2", standing, stiffness)
		}
		if !marked && (standing == 1 || stiffness == stiffness) {
			t.Errorf("without marks: standing %v, stiffness %v", standing, stiffness)
		}
		if raised := len(s.happened()) > 0; raised != marked {
			t.Errorf("marked %t: %q", marked, s.lines)
		}
	}
}

// Words that are no posture, and places that are no limb, go by no mark.
func TestMarksThatCountForNothing(t *testing.T) {
	plan := everyKind()
	for i := range plan.Places {
		p := &plan.Places[i]
		for word, counts := range map[string]bool{rules.MarkLying: true, rules.MarkStanding: true, "bath": false, "": false} {
			if got := p.GoesBy(word); got != (counts && p.Kind == rules.Wrap) {
				t.Errorf("%s goes by %q: %t", p.ID, word, got)
			}
		}
	}
	marked, plain := newStory(t, plan), newStory(t, plan)
	for second := range 30 {
		for place := range plan.Places {
			if plan.Places[place].Kind != rules.Wrap {
				marked.Mark(place, rules.MarkStanding, at(time.Duration(second)*time.Second))
			}
			marked.Mark(place, "bath", at(time.Duration(second)*time.Second))
		}
		for _, s := range []*story{marked, plain} {
			s.scan(3, time.Duration(second)*time.Second, 40, 36, 35, 33)
		}
	}
	for place := range plan.Places {
		if a, b := marked.state(place), plain.state(place); a != b || marked.all() != plain.all() {
			t.Errorf("place %d with marks: %s", place, differing(a, b))
		}
	}
}

// What is said of two neighbours on a limb is arithmetic: the ratio of the proximal to the
// distal pressure, how much lower it is, and which share of the most distal one is left,
// which is nothing that can be said of a limb without pressure. Neighbours go by height,
// and by the order of the configuration where one height is not known.
func TestPairsOfALimb(t *testing.T) {
	plan := leg(rules.Rule{Formula: "still"})
	p := &plan.Places[0]
	plan.Sources[0].Channels = 3
	p.Sites = append(p.Sites, rules.Site{ID: "thigh", HeightCM: 60, Channels: []rules.Channel{{Index: 2}}})
	type pair struct{ ratio, drop, residual float64 }
	nan := math.NaN()
	for _, c := range []struct {
		ankle, calf, thigh float64
		heights            bool
		want               map[string]pair
	}{
		{40, 30, 20, true, map[string]pair{"calf": {0.75, 10, 75}, "thigh": {20.0 / 30, 10, 50}}},
		{40, 50, 20, true, map[string]pair{"calf": {1.25, -10, 125}, "thigh": {0.4, 30, 50}}},
		{4.9, 4, 3, true, map[string]pair{"calf": {nan, 0.9, nan}, "thigh": {nan, 1, nan}}},
		{nan, 30, 20, true, map[string]pair{"calf": {nan, nan, nan}, "thigh": {20.0 / 30, 10, nan}}},
		{40, nan, 20, true, map[string]pair{"calf": {nan, nan, nan}, "thigh": {nan, nan, 50}}},
		{40, 30, 20, false, map[string]pair{"ankle": {40.0 / 30, -10, 4000.0 / 30}, "thigh": {0.5, 20, 2000.0 / 30}}}, // calf first
	} {
		if p.Sites[1].HeightCM = 0; c.heights {
			p.Sites[1].HeightCM = 12
		}
		s := newStory(t, plan)
		s.scan(0, 0, c.ankle, c.calf, c.thigh)
		for site, want := range c.want {
			got := pair{s.signal(t, site+".ratio").Value, s.signal(t, site+".drop").Value, s.signal(t, site+".residual").Value}
			for _, v := range [][2]float64{{got.ratio, want.ratio}, {got.drop, want.drop}, {got.residual, want.residual}} {
				if (v[0] == v[0]) != (v[1] == v[1]) || math.Abs(v[0]-v[1]) > 1e-9 {
					t.Errorf("%v, %v and %v: %s is %+v, want %+v", c.ankle, c.calf, c.thigh, site, got, want)
				}
			}
		}
	}
}
