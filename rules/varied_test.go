package rules_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
	"weald/rules/hold"
)

// Who asks what another limit and another delay would have done gets what a rule with
// them does: its band, hold and gate, given the values of the signals that it names, raise
// and clear at the instants at which an engine with such a rule does.
func TestAVariedRuleIsARuleWithOtherNumbers(t *testing.T) {
	changes := 0
	tried.Check(t, tried.Count(&changes, 100), func(t *rapid.T) {
		l := &rules.Limit{Watch: rapid.SampledFrom([]string{"ankle.pressure", "calf.drop"}).Draw(t, "watch"), Deadband: 1}
		other := float64(rapid.IntRange(28, 36).Draw(t, "limit"))
		with := *l
		upper := true
		switch rapid.IntRange(0, 2).Draw(t, "bound") {
		case 0:
			l.Above, with.Above = ptr(32), &other
		case 1:
			l.Below, with.Below, upper = ptr(32), &other, false
		default:
			l.Outside, with.Outside = &[2]float64{20, 32}, &[2]float64{20, other}
		}
		r := rules.Rule{Limit: l, While: rapid.SampledFrom([]string{"", "calf.pressure < 31 and wrapped", "not (ankle.pressure > 36)"}).Draw(t, "while")}
		drawDelays(t, &r, 2500)
		plan := leg(r)
		plan.Sources[0].StaleAfter = 10 * time.Second // nothing here falls silent
		v, err := plan.Places[0].Vary(&plan.Rules[0])
		if err != nil {
			t.Fatal(err)
		}
		if v.Signal != l.Watch || v.Unit != "mmHg" || v.Upper != upper || v.Limit != 32 || v.Peaks || !v.Possible(other) || l.Outside != nil && v.Possible(20) {
			t.Fatalf("%+v", v)
		}
		delay := ms(rapid.IntRange(0, 2500).Draw(t, "delay"))
		plan.Rules[0].Limit, plan.Rules[0].OnDelay = &with, delay
		s := begun(plan)

		plan.Rules[0].Limit, plan.Rules[0].OnDelay = l, r.OnDelay
		band, spec := v.Band(other), v.Hold(delay)
		plan.Rules[0].Limit, plan.Rules[0].OnDelay = &with, delay
		var state hold.State
		var memory hold.Memory
		var want []string
		open, cond := false, sample.Maybe
		pass := func(from, span time.Duration) {
			if !open {
				return
			}
			if change, at := state.Advance(&spec, span, cond); change != hold.None {
				want = append(want, fmt.Sprint(from+at, " ", []string{"", "raised", "cleared"}[change]))
			}
		}
		now := time.Duration(0)
		for range rapid.IntRange(5, 40).Draw(t, "n") {
			later := ms(rapid.IntRange(1, 2500).Draw(t, "later"))
			pass(now, later)
			now += later
			s.scan(0, now, float64(rapid.IntRange(26, 38).Draw(t, "ankle")), float64(rapid.IntRange(0, 32).Draw(t, "calf")))
			var asked []float64
			for _, name := range v.Gate.Signals {
				asked = append(asked, s.signalOf(0, name).Value)
			}
			sig := s.signalOf(0, v.Signal)
			cond, memory = band.Judge(sig.Value, sig.U, memory)
			open = v.Gate.Open(asked)
			pass(now, 0)
		}
		if got := s.happened(); !slices.Equal(got, want) {
			t.Fatalf("%+v with %v and %v: the rule %q, varied %q", *l, other, delay, got, want)
		}
		changes += len(want)
	})
}

// What cannot be varied is refused with the reason: what is no limit, what is not there,
// and what needs to know how sure a reading was, or more than the highest of the cells.
func TestWhatCannotBeVaried(t *testing.T) {
	sure := above("ankle.pressure", 32, 0)
	sure.Certainty = 0.95
	elsewhere := above("ankle.pressure", 32, 0)
	elsewhere.At.Kind = rules.Bed
	legs, beds := leg(sure).Places[0], bed(1, 4).Places[0]
	low := above("back.pressure", 32, 0)
	low.Limit = &rules.Limit{Watch: "back.pressure", Below: ptr(3)}
	both := above("back.pressure", 32, 0)
	both.Limit = &rules.Limit{Watch: "back.pressure", Outside: &[2]float64{3, 40}}
	formula := rules.Rule{Formula: "still"}
	knee := above("knee.pressure", 32, 0)
	for _, c := range []struct {
		place *rules.Place
		r     *rules.Rule
		want  error
	}{
		{&legs, &formula, rules.ErrNoLimit}, {&legs, &knee, rules.ErrNotThere}, {&legs, &elsewhere, rules.ErrNotThere},
		{&legs, &sure, rules.ErrUncertain}, {&beds, &low, rules.ErrNoLimit}, {&beds, &both, rules.ErrNoLimit},
	} {
		if v, err := c.place.Vary(c.r); !errors.Is(err, c.want) || v != nil {
			t.Errorf("%+v at %s: %+v, %v, want %v", c.r, c.place.ID, v, err, c.want)
		}
	}
	cells := above("back.pressure", 32, 0)
	if v, err := beds.Vary(&cells); err != nil || !v.Peaks || v.Signal != "back.peak" || v.Subject != "back" {
		t.Errorf("cells are varied by their peak: %+v, %v", v, err)
	}
}

// Of the values that a gate asks for, one that is unknown leaves it closed where the
// answer could be another, and a condition that was so for half of a time is taken for
// one that was.
func TestAGateOfKeptValues(t *testing.T) {
	r := above("ankle.pressure", 32, 0)
	r.While = "still or calf.pressure < 20"
	v, err := leg(r).Places[0].Vary(&r)
	if err != nil {
		t.Fatal(err)
	}
	still := slices.Index(v.Gate.Signals, "still")
	for _, c := range []struct {
		still, calf float64
		open        bool
	}{
		{1, 30, true}, {0.5, 30, true}, {0.49, 30, false}, {0, 10, true}, {math.NaN(), 10, true},
		{math.NaN(), 30, false}, {1, math.NaN(), true}, {0, math.NaN(), false}, {math.NaN(), math.NaN(), false},
	} {
		values := []float64{c.calf, c.calf}
		values[still] = c.still
		if got := v.Gate.Open(values); got != c.open {
			t.Errorf("still %v, calf %v: open %t", c.still, c.calf, got)
		}
	}
}
