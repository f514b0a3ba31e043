package rules_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules/alert"
)

// A flood of raises at several places at once is told as section 7 of the semantics has
// it, counted here from the holds themselves: more than three raises of one alert within
// ten minutes chatter, the fourth carries the mark, nobody is told of what follows, and
// ten minutes after the last raise it is calm. What one place does is no other's chatter.
func TestFloodsAgainstASlowReference(t *testing.T) {
	seen := map[string]int{}
	fewUntil(t, 40, tried.Each(seen, 3, "raised true", "raised false", "cleared false", "calm true"), func(t *rapid.T) {
		plan := twoBeds()
		plan.Rules = plan.Rules[:1]
		plan.Rules[0] = above("mat.peak", 32, 0)
		for i := range plan.Sources {
			plan.Sources[i].StaleAfter = 24 * time.Hour
		}
		e, sink := engineOf(plan)
		type turn struct {
			at     sample.Instant
			raised bool
		}
		turns, was, now := make([][]turn, 2), make([]bool, 2), sample.Instant(0)
		for range 60 {
			now = now.Add(time.Duration(rapid.SampledFrom([]int{1, 60, 20, 601, 90, 20, 1, 150}).Draw(t, "s")) * time.Second)
			source := rapid.IntRange(0, 1).Draw(t, "source")
			high := rapid.IntRange(0, 2).Draw(t, "high") > 0 != was[source]
			x := sample.Scan{Source: source, At: now, Arrived: now, Values: repeat(30, 4)}
			if high {
				x.Values[2] = 40
			}
			if high != was[source] {
				was[source] = high
				turns[source] = append(turns[source], turn{now, high})
			}
			e.Scan(&x)
		}
		now = now.Add(30 * time.Minute)
		e.Tick(now)
		for source, id := range []string{"bed-4~tight~mat", "bed-5~tight~mat"} {
			var want []string
			tell := func(at sample.Instant, what string, loud, mark bool) {
				want = append(want, fmt.Sprint(time.Duration(at), " ", what, " ", loud, " ", mark))
			}
			var raises []sample.Instant
			chatters := false
			calm := func(until sample.Instant) {
				if n := len(raises); chatters && raises[n-1].Add(10*time.Minute) <= until {
					chatters = false
					tell(raises[n-1].Add(10*time.Minute), "calm", true, false)
				}
			}
			for _, x := range turns[source] {
				calm(x.at)
				loud := !chatters
				if x.raised {
					raises = append(raises, x.at)
					n := len(raises)
					chatters = chatters || n > 3 && x.at.Sub(raises[n-4]) <= 10*time.Minute
				}
				tell(x.at, map[bool]string{true: "raised", false: "cleared"}[x.raised], loud, chatters)
			}
			calm(now)
			var got []string
			for _, ev := range sink.events {
				if ev.ID() == id && (ev.What == alert.Raised || ev.What == alert.Cleared || ev.What == alert.Calmed) {
					got = append(got, fmt.Sprint(time.Duration(ev.At), " ", ev.What, " ", !ev.Quiet, " ", ev.Chattering))
					seen[strings.Join(strings.Fields(got[len(got)-1])[1:3], " ")]++
				}
			}
			if !slices.Equal(got, want) {
				t.Fatalf("%s: got\n%s\nwant\n%s", id, strings.Join(got, "\n"), strings.Join(want, "\n"))
			}
		}
	})
}
