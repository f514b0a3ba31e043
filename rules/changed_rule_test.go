package rules_test

import (
	"bytes"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/exposure"
	"weald/rules/hold"
)

// taken is the first place of a plan as it goes on from a snapshot of another plan.
func taken(t *testing.T, plan *rules.Plan, state []byte) *story {
	t.Helper()
	s := newStory(t, plan)
	if err := s.RestorePlace(0, state); err != nil {
		t.Fatal(err)
	}
	return s
}

// sleep calls Tick as often as Next asks for it until an instant, and fails where that
// makes no progress.
func (s *story) sleep(t *testing.T, until time.Duration) {
	t.Helper()
	for last := sample.Past; s.Next() <= at(until); {
		if s.Next() <= last {
			t.Fatalf("Next says %v after %v", s.Next(), last)
		}
		last = s.Next()
		s.Tick(last)
	}
}

// A rule that has come to call the next tier sooner than what has stood already, or to
// call it at all, calls it at once, stamped with the present of its place, and the one
// after that in due time. (Semantics, section 7.)
func TestARuleThatCallsSoonerCallsNow(t *testing.T) {
	for _, before := range []time.Duration{0, 10 * time.Minute} {
		r := above("heels.peak", 32, 0)
		r.EscalateAfter = before
		s := newStory(t, bed(1, 2, r))
		s.scan(0, 0, 50, 50)
		s.scan(0, 5*time.Minute, 50, 50)
		r.EscalateAfter = time.Minute
		next := taken(t, bed(1, 2, r), s.SnapshotPlace(0, nil))
		next.sleep(t, 10*time.Minute)
		next.expect(t, "5m0s escalated bed-4~tight~heels", "5m3s unknown bed-4~tight~heels", "6m0s escalated bed-4~tight~heels")
	}
}

// What was put aside as there was nobody is judged again where its rule has become one
// that needs nobody to be there: nothing else would ever take it back. (Semantics,
// section 5: it is rules that need a body that are suppressed.)
func TestARuleThatNoLongerNeedsABodyIsJudgedAgain(t *testing.T) {
	table := []exposure.Point{{MMHg: 31, Time: 30 * time.Second}, {MMHg: 40, Time: 5 * time.Second}}
	dose := rules.Rule{ID: "tight", Priority: 1, ForgetAfter: time.Minute, Exposure: &rules.Exposure{Of: "heels", Table: table, Share: 0.5, Floor: 30, Recovery: exposure.Never}}
	for _, pressure := range []float64{0, 40} { // the dose is raised when they go, or not
		s := newStory(t, bed(1, 2, dose))
		for now := time.Duration(0); now < 10*time.Second; now += time.Second {
			s.scan(0, now, pressure, pressure)
		}
		for now := 10 * time.Second; now <= 80*time.Second; now += time.Second {
			s.scan(0, now, 0, 0)
		}
		if all := s.Standing(0, nil); len(all) != 1 || all[0].State != "suppressed" {
			t.Fatalf("an empty bed has %+v", all)
		}
		next := taken(t, bed(1, 2, above("heels.peak", 32, 0)), s.SnapshotPlace(0, nil))
		next.scan(0, 81*time.Second, 40, 40)
		want := []string{"1m20s unsuppressed bed-4~tight~heels", "1m21s raised bed-4~tight~heels"}
		if pressure > 0 {
			want = append([]string{"1m20s cleared bed-4~tight~heels"}, want...)
		}
		next.expect(t, want...)
		if all := next.Standing(0, nil); len(all) != 1 || all[0].State != "unacknowledged" {
			t.Errorf("what presses on the heels is %+v", all)
		}
	}
}

// A snapshot that is damaged so that a delay has been passed which nobody noticed has it
// noticed at the present of its place; it keeps nobody busy for ever.
func TestADelayThatIsPassedIsNoticedNow(t *testing.T) {
	plan := bed(1, 2, above("heels.peak", 32, 30*time.Second))
	s := newStory(t, plan)
	s.scan(0, 0, 50, 50)
	s.scan(0, 2*time.Second, 50, 50)
	held, longer := hold.State{Held: 2 * time.Second}, hold.State{Held: 34 * time.Second}
	whole := s.SnapshotPlace(0, nil)
	i := bytes.LastIndex(whole, held.Append(nil)) // those of cells come before it
	if i < 0 || len(held.Append(nil)) != len(longer.Append(nil)) {
		t.Fatal("the hold of the rule is not found")
	}
	copy(whole[i:], longer.Append(nil))
	next := taken(t, plan, whole)
	next.sleep(t, time.Minute)
	next.expect(t, "2s raised bed-4~tight~heels", "5s unknown bed-4~tight~heels")
}
