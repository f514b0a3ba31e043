package rules_test

import (
	"math"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/turning"
)

const bedRows, bedColumns = 48, 24

// bedWith is a plan with a bed and a rule for turns.
func bedWith(interval time.Duration) *rules.Plan {
	p := leg(rules.Rule{Turn: &rules.Turn{Interval: interval, Settle: turning.DefaultSettle}})
	p.Sources[0] = rules.Source{ID: "a/mat", Channels: bedRows * bedColumns, StaleAfter: 3 * time.Second, Calibrated: true}
	p.Places[0] = rules.Place{ID: "bed-1", Kind: rules.Bed, Mat: &rules.Mat{Rows: bedRows, Columns: bedColumns, PitchMM: [2]float64{38, 35}, LoadedAbove: 20}}
	return p
}

// somebody invents who lies on a side: knees is how far they are drawn up, in
// columns: to the high ones on the left side, seen from above.
func somebody(knees float64) []float64 {
	out := make([]float64, bedRows*bedColumns)
	blob := func(row, column, tall, wide, mmHg float64) {
		for i := range out {
			y, x := (float64(i/bedColumns)-row)/tall, (float64(i%bedColumns)-column)/wide
			out[i] += mmHg * math.Exp(-(y*y+x*x)/2)
		}
	}
	blob(4, 11+knees/4, 1.6, 1.2, 35)
	blob(11, 11, 3, 1.6, 45)
	blob(12, 11+knees, 1.2, 2, 15) // arms
	blob(22, 11, 2.5, 2, 60)
	blob(29, 11+knees, 2, 2.2, 30)
	blob(38, 11+knees/2, 4, 1.4, 30)
	return out
}

func (s *story) lie(from, to time.Duration, map_ []float64) {
	for at := from; at < to; at += time.Second {
		s.scan(0, at, map_...)
	}
}

// Two hours on one side are told at their instant, with the side; a turn clears
// it once it has lasted, and the settling counts for the next.
func TestTurnIsDue(t *testing.T) {
	s := newStory(t, bedWith(2*time.Hour))
	left, right := somebody(4), somebody(-4)
	s.lie(0, 90*time.Minute, left)
	if v := s.signal(t, "on_left").Value; v != 1 {
		t.Fatalf("on_left is %v; on_right %v, supine %v", v, s.signal(t, "on_right").Value, s.signal(t, "supine").Value)
	}
	p := s.Progress(0, nil)[0]
	if want := "on the left side for 1 h 30 min, turn due in 30 min"; p.Says != want || p.Due != sample.Instant(2*time.Hour) {
		t.Errorf("says %q, due %v; want %q and 2 h", p.Says, p.Due, want)
	}
	s.lie(90*time.Minute, 130*time.Minute, left)
	s.says(t, "bed taken for 2 h without a turn: on the left side for 2 h when raised")
	s.lie(130*time.Minute, 130*time.Minute+31*time.Second, right)
	s.says(t, "bed no longer taken for 2 h without a turn: on the right side for 30 s")
	if held := s.Progress(0, nil)[0].Share * 7200; math.Abs(held-30) > 1 {
		t.Errorf("after the turn %v s are held, want 30", held)
	}
	if v := s.signal(t, "on_right").Value; v != 1 {
		t.Errorf("on_right is %v after the turn", v)
	}
}

// A hole counts for nothing and undoes nothing; an empty bed does, and says why.
func TestTurnHolesAndEmptyBeds(t *testing.T) {
	s := newStory(t, bedWith(10*time.Minute))
	left := somebody(4)
	s.lie(0, 4*time.Minute, left)
	s.lie(9*time.Minute, 14*time.Minute, left) // nothing is known from 4 min 2 s on
	if v := s.signal(t, "turn.since").Value; math.Abs(v-(9*60+1)) > 1 {
		t.Errorf("%v s without a turn, want the 9 min that were seen and 2 s", v)
	}
	s.lie(14*time.Minute, 16*time.Minute, left)
	s.says(t, "bed taken for 10 min without a turn: on the left side for 10 min when raised")
	s.lie(16*time.Minute, 18*time.Minute, make([]float64, bedRows*bedColumns))
	if p := s.Progress(0, nil)[0]; p.Raised || s.signal(t, "on_left").Value == 1 {
		t.Errorf("of an empty bed: %+v", p)
	}
	s.lie(18*time.Minute, 19*time.Minute, left)
	if v := s.signal(t, "turn.since").Value; math.Abs(v-59) > 1 {
		t.Errorf("%v s since somebody came, want 59", v)
	}
	if n := s.signal(t, "turn.count").Value; n != 0 {
		t.Errorf("%v turns, want none", n)
	}
	s.expect(t, "14m58s raised bed-1~rule~bed", "17m0s suppressed bed-1~rule~bed", "17m0s cleared bed-1~rule~bed", "18m0s unsuppressed bed-1~rule~bed")
}

// A restart in the middle of a hold, and of a turn, goes on as if there were
// none.
func TestTurnSurvivesARestart(t *testing.T) {
	one := newStory(t, bedWith(10*time.Minute))
	two := newStory(t, bedWith(10*time.Minute))
	part := func(from, to time.Duration, m []float64) {
		one.lie(from, to, m)
		two.lie(from, to, m)
		b := two.SnapshotPlace(0, nil)
		next := newStory(t, bedWith(10*time.Minute))
		if err := next.RestorePlace(0, b); err != nil {
			t.Fatal(err)
		}
		next.texts = two.texts
		two = next
	}
	part(0, 6*time.Minute, somebody(4))
	part(6*time.Minute, 6*time.Minute+20*time.Second, somebody(-4))
	part(6*time.Minute+20*time.Second, 18*time.Minute, somebody(-4))
	a, b := one.Progress(0, nil)[0], two.Progress(0, nil)[0]
	if a != b || len(one.texts) != 1 || len(two.texts) != 1 || one.texts[0] != two.texts[0] {
		t.Errorf("%+v and %q without a restart, %+v and %q with", a, one.texts, b, two.texts)
	}
}
