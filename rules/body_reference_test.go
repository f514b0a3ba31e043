package rules_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
	"weald/rules/alert"
	"weald/rules/exposure"
)

// A slowBody says of every second whether there is somebody, by the sentences of the
// package: who has been there is, until the place has been empty for a minute. A second
// in which nothing is known is none in which it is empty.
type slowBody struct {
	been  bool
	empty int // s
}

// second says what is so at its beginning, with the pressures of two sites that last
// through it, NaN unknown.
func (b *slowBody) second(left, right float64) sample.Truth {
	there, known := false, false
	for _, v := range []float64{left, right} {
		known = known || v == v
		there = there || v >= 5
	}
	is := sample.Maybe
	switch {
	case there:
		b.been, b.empty, is = true, 0, sample.Yes
	case known && b.been:
		if is = sample.Yes; b.empty >= 60 {
			b.been, is = false, sample.No
		}
		b.empty++
	case known:
		is = sample.No
	}
	return is
}

// Where nobody is, on a seat or under a wrap, rules that need a body are put aside by
// design, at once if nobody has been there and after a minute if somebody has; where it
// is not known, they are not. Limits, formulas, rates and faults of channels are judged in
// any case.
func TestWhereNobodyIsNobodyIsJudged(t *testing.T) {
	table := []exposure.Point{{MMHg: 31, Time: time.Hour}, {MMHg: 60, Time: time.Minute}}
	for _, kind := range []rules.PlaceKind{rules.Seat, rules.Wrap} {
		name, needs := "occupied", []rules.Rule{
			{Exposure: &rules.Exposure{Table: table, Share: 0.5, Floor: 20}}, seated(time.Hour),
			{Graduation: &rules.Graduation{Ratio: 0.8}}, {Drift: &rules.Drift{Site: "left", By: 3, Settle: time.Hour}},
		}
		if kind == rules.Wrap {
			name = "wrapped"
		}
		never := []rules.Rule{
			{Limit: &rules.Limit{Watch: "left.pressure", Above: ptr(70)}}, {Formula: "left.pressure > 70"},
			{Rate: &rules.Rate{Watch: "left.pressure", Rise: 900, Per: time.Second, Window: time.Minute}}, faulty(rules.Uncalibrated),
		}
		plan := chair(rules.Rule{})
		plan.Places[0].Kind, plan.Sources[0].StaleAfter, plan.Rules = kind, 2*time.Second, nil
		for i, r := range append(needs, never...) {
			r.ID, r.Priority, r.ForgetAfter = fmt.Sprint(i), 1, time.Hour
			plan.Rules = append(plan.Rules, r)
		}
		answers := map[sample.Truth]int{}
		fewUntil(t, 8, tried.Each(answers, 15, sample.Yes, sample.No, sample.Maybe), func(t *rapid.T) {
			s, slow, now := begun(plan), &slowBody{}, 0
			for range 7 {
				both := rapid.SampledFrom([][2]float64{{0, 0}, {math.NaN(), math.NaN()}, {40, 0}, {math.NaN(), 0}, {5, math.NaN()}, {4.9, 3}}).Draw(t, "both")
				left, right := both[0], both[1]
				for range rapid.SampledFrom([]int{1, 61, 20, 59, 60, 70}).Draw(t, "seconds") {
					s.scan(0, time.Duration(now)*time.Second, left, right)
					want := slow.second(left, right)
					answers[want]++
					now++
					if got := s.signalOf(0, name).Value; (got == 1) != (want == sample.Yes) || (got == 0) != (want == sample.No) {
						t.Fatalf("at %d s with %v and %v: %s is %v, want %v", now-1, left, right, name, got, want)
					}
					aside := map[string]bool{}
					for _, x := range s.Standing(0, nil) {
						aside[x.Rule] = x.State == alert.Suppressed
					}
					for _, p := range s.Progress(0, nil) {
						var i int
						fmt.Sscan(p.Rule, &i)
						if aside[p.Rule] != (want == sample.No && i < len(needs)) {
							t.Fatalf("at %d s, %s being %v, rule %d is put aside: %t", now-1, name, want, i, aside[p.Rule])
						}
					}
				}
				if hole := rapid.SampledFrom([]int{0, 5, 0, 90, 1}).Draw(t, "hole"); hole > 0 {
					for s := range hole {
						if v := math.NaN(); s == 0 {
							slow.second(left, right) // a value lasts for 2 s
						} else {
							slow.second(v, v)
						}
					}
					now += hole
				}
			}
		})
	}
}

// A seat that was known to be empty and falls silent is one of which nobody knows: its
// alerts are judged again from the instant of the silence on, which is told in time
// although no scan comes any more, and once.
func TestSilenceEndsWhatIsPutAsideByDesign(t *testing.T) {
	s := newStory(t, chair(seated(time.Hour)))
	s.scan(0, 0, 0, 0)
	s.scan(0, time.Second, 0, 0)
	s.expect(t, "0s suppressed seat-1~rule~seat")
	if got := s.Next(); got != at(2200*time.Millisecond) {
		t.Errorf("Next is %v, want 200 ms after the last value ends", got)
	}
	kept, err := s.restarted()
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range []*story{s, kept} {
		s.Tick(s.Next())
		s.expect(t, "2s unsuppressed seat-1~rule~seat")
		if s.Next() != sample.Never {
			t.Errorf("Next is %v with nothing left to tell", s.Next())
		}
	}
}
