package rules_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/tried"
)

// A turn is due when somebody has been seen to lie for the interval, by a count that goes
// on in steps of 2 s, as often as a map is looked at: from when they lay down, or from when
// they had lain in another way for the settling, which counts. Fidgets that go back do not
// count, nor does time of which nothing is known; an empty bed undoes all.
func TestTurnAgainstASlowReference(t *testing.T) {
	const settle, interval = 10, 60 // s
	maps := map[string][]float64{"left": somebody(4), "right": somebody(-4), "nobody": make([]float64, bedRows*bedColumns)}
	happened := 0
	fewUntil(t, 14, tried.Count(&happened, 4), func(t *rapid.T) {
		plan := bedWith(interval * time.Second)
		plan.Rules[0].Turn.Settle, plan.Sources[0].StaleAfter = settle*time.Second, 3*time.Second
		s, now := begun(plan), 0
		var want []string
		lies, next, held, seen, empty, raised := "", "", 0, 0, 0, false
		tell := func(is bool) {
			if is != raised {
				raised = is
				want = append(want, fmt.Sprintf("%v %s", time.Duration(now)*time.Second, map[bool]string{true: "raised", false: "cleared"}[is]))
			}
		}
		pass := func(seconds int, nobody bool) { // in which what was seen last is so
			for range seconds {
				if now++; !nobody {
					held, seen, empty = held+1, seen+1, 0
				} else if held > 0 { // it is taken that they come back
					held, empty = held+1, empty+1
				}
				tell(held >= interval)
			}
		}
		look := func(how string) {
			s.lie(time.Duration(now)*time.Second, time.Duration(now)*time.Second+1, maps[how])
			switch {
			case how == "nobody":
				if empty >= 60 {
					lies, next, held = "", "", 0
					tell(false)
				}
			case how == lies:
				next = ""
			case how != next:
				next, seen = how, 0
			case seen >= settle:
				if lies != "" {
					held = seen
					tell(held >= interval)
				}
				lies, next = how, ""
			}
		}
		for range 5 {
			how := rapid.SampledFrom([]string{"left", "right", "left", "right", "nobody"}).Draw(t, "how")
			for range rapid.SampledFrom([]int{2, 4, 6, 12, 31}).Draw(t, "looks") {
				look(how)
				pass(2, how == "nobody")
			}
			if rapid.Bool().Draw(t, "silence") {
				pass(1, how == "nobody") // for which the last look is good still
				now += rapid.IntRange(1, 60).Draw(t, "for")
			}
		}
		look("left")
		s.Finish()
		if got := s.happened(); !slices.Equal(got, want) {
			t.Fatalf("got %q, want %q", got, want)
		}
		happened += len(want)
	})
}
