package rules_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/tried"
	"weald/rules"
	"weald/rules/relief"
)

// A slowSeat follows somebody who sits at 60 and 55 mmHg unless they relieve themselves,
// second by second, by the definitions of Sonenblum, Sprigle, Martin, J Rehabil Res Dev
// 2016;53(5):585-598, as section 5 of the semantics has them: a weight shift is 30 to
// 90 % off at least one side for 15 s, a pressure relief 90 % off the whole for 15 s, and
// an empty seat for 60 s is a transfer.
type slowSeat struct {
	rule *rules.Relief

	off       [2]int // s, for how long there has been a shift, and a relief
	empty     int
	since     int
	based     bool // there is something that the load could be off
	sits      int  // s since somebody sat down again
	wasRaised bool
}

// second takes the loads of one second, NaN unknown, and returns whether the alert is
// raised from its end on, had everybody who judges it looked at once.
func (s *slowSeat) second(left, right float64) (raised bool) {
	counts := func(k relief.Kind) bool { return slices.Contains(s.rule.Counts, k) }
	total := left + right
	switch {
	case total != total: // nothing of it is known to go on, and nothing to end
		if left == left && (60-left)/60 < 0.3 && right == right {
			s.off[0] = 0
		}
		return s.wasRaised
	case total <= 2:
		s.empty++
	default:
		s.empty = 0
	}
	is := [2]bool{s.based && ((60-left)/60 >= 0.3 || (55-right)/55 >= 0.3), s.based && (115-total)/115 >= 0.9}
	counting := false
	for i := range is {
		if s.off[i]++; !is[i] {
			s.off[i] = 0
		}
		counting = counting || s.off[i] > 15 && counts([]relief.Kind{relief.Shift, relief.Relief}[i])
	}
	if s.empty == 0 && !counting {
		s.since++
	}
	if s.off[0] == 15 && counts(relief.Shift) || s.off[1] == 15 && counts(relief.Relief) || s.empty == 60 && counts(relief.Transfer) {
		s.since = 0
	}
	if s.empty == 60 {
		s.based, s.sits, s.off = false, 0, [2]int{}
	}
	if s.sits++; total < 100 {
		s.sits = 0
	} else if s.sits == 32 { // the first half minute serves
		s.based = true
	}
	s.wasRaised = s.since >= int(s.rule.Interval/time.Second)
	return s.wasRaised
}

// A relief is due when somebody who counts seconds says so, is over as soon as what
// counts has lasted, and nothing else ends it: whichever of shift, relief and transfer
// count, over holes and empty seats.
func TestReliefAgainstASlowReference(t *testing.T) {
	happened := 0
	fewUntil(t, 30, tried.Count(&happened, 60), func(t *rapid.T) {
		counts := rapid.SampledFrom([][]relief.Kind{{1, 2, 3}, {relief.Relief, relief.Transfer}, {relief.Transfer}, {relief.Shift}, {relief.Relief}}).Draw(t, "counts")
		r := seated(time.Duration(rapid.IntRange(40, 150).Draw(t, "interval"))*time.Second, counts...)
		plan := chair(r)
		s, slow, now := begun(plan), &slowSeat{rule: plan.Rules[0].Relief}, 0
		var want []string
		was := false
		sit := func(seconds int, left, right float64) {
			for range seconds {
				s.scan(0, time.Duration(now)*time.Second, left, right)
				now++
				if is := slow.second(left, right); is != was {
					was = is
					want = append(want, fmt.Sprintf("%v %s", time.Duration(now)*time.Second, map[bool]string{true: "raised", false: "cleared"}[is]))
				}
			}
		}
		sit(180, 60, 55)
		for range 6 {
			switch rapid.IntRange(0, 6).Draw(t, "does") {
			case 0: // leans to the right
				sit(rapid.SampledFrom([]int{5, 14, 15, 16, 40}).Draw(t, "s"), 36, 55)
			case 1: // not far enough: 28 %
				sit(rapid.IntRange(10, 40).Draw(t, "s"), 43, 55)
			case 2: // lifts the whole by 92 %
				sit(rapid.SampledFrom([]int{14, 15, 16, 30}).Draw(t, "s"), 4, 5)
			case 3: // stands up
				sit(rapid.SampledFrom([]int{10, 15, 59, 60, 61, 90}).Draw(t, "s"), 0, 0)
			case 4: // one side up altogether
				sit(rapid.IntRange(12, 20).Draw(t, "s"), 0, 55)
			case 5: // a hole
				sit(rapid.IntRange(1, 60).Draw(t, "s"), math.NaN(), math.NaN())
			}
			sit(rapid.IntRange(36, 100).Draw(t, "sits"), 60, 55)
		}
		s.scan(0, time.Duration(now)*time.Second, 60, 55)
		s.Finish()
		if got := s.happened(); !slices.Equal(got, want) {
			t.Fatalf("%v, after %v: got %q, want %q", counts, plan.Rules[0].Relief.Interval, got, want)
		}
		happened += len(want)
	})
}
